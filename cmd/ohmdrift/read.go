package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"ohmdrift/config"
	"ohmdrift/daemon"
	"ohmdrift/daemon/poll"
	"ohmdrift/devices"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
)

// reading is what read is asked to do.
type reading struct {
	file string
	json bool
	scan scanOptions
}

func newRead() *cobra.Command {
	var r reading
	c := &cobra.Command{
		Use:   "read --config FILE [TAG…]",
		Short: "Read loops now, once, and judge them",
		Long: `Read every loop of a plant file, or those named, once, and show leads, imbalance
and the reading error with its uncertainty. A loop that cannot be read says why.
The exit code is 1 when a loop is in trouble: not readable, over its limit, or wired
other than the plant file says. Under the table stands what one reading shows, with
the terminals to look at.
A running daemon has the serial ports and perhaps the only connection that a
gateway takes: look at its page then.

With --scan it looks which units answer on each link (reads only), and with a
profile what its registers give in each byte order.`,
		Example: "  ohmdrift read --config larkfield.yaml\n  ohmdrift read --config larkfield.yaml TT-1204 TT-1205 --json\n  ohmdrift read --config larkfield.yaml --scan --link mcc2 --units 1-32",
		RunE: func(c *cobra.Command, tags []string) error {
			return r.run(c.Context(), tags, c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&r.file, "config", "", "the plant's YAML file")
	f.BoolVar(&r.json, "json", false, "print one JSON object a line")
	r.scan.flags(f)
	_ = c.MarkFlagRequired("config") // the flag exists
	return c
}

func (r *reading) run(ctx context.Context, tags []string, out, errs io.Writer) error {
	p, err := config.LoadWith(r.file, config.Options{SkipSecrets: true})
	if err != nil {
		return mistaken(err, errs)
	}
	if r.scan.on {
		return r.scan.run(ctx, p, r.json, out)
	}
	plan, err := chosen(p, tags)
	if err != nil {
		fmt.Fprintln(errs, err)
		return bad()
	}
	v := newVisit(p)
	if err := poll.ReadOnce(ctx, plan, v, poll.Options{}); err != nil {
		return couldNot(err)
	}
	if r.json {
		err = v.printJSON(out)
	} else {
		err = v.printTable(out)
	}
	switch {
	case err != nil:
		return couldNot(err)
	case v.trouble():
		return bad()
	}
	return nil
}

// chosen is the plan of the named loops, all without a name.
func chosen(p *config.Plant, tags []string) (poll.Plan, error) {
	plan := daemon.PollPlan(p)
	if len(tags) == 0 {
		return plan, nil
	}
	known := make([]string, len(plan.Loops))
	for i := range plan.Loops {
		known[i] = plan.Loops[i].Tag
		if !slices.Contains(tags, known[i]) {
			plan.Loops[i].Link = -1
		}
	}
	var missing []string
	for _, t := range tags {
		if !slices.Contains(known, t) {
			missing = append(missing, t)
		}
	}
	if len(missing) > 0 {
		return plan, fmt.Errorf("no loop %s in the plant file; it has %d loops, %s to %s",
			strings.Join(missing, ", "), len(known), slices.Min(known), slices.Max(known))
	}
	return plan, nil
}

// visit collects one reading of each loop and its assessment.
type visit struct {
	plant *config.Plant
	loops []*diagnostics.Loop
	seen  []visited
}

type visited struct {
	at    int // index of the loop
	read  devices.Reading
	says  diagnostics.Assessment
	finds []finding.Finding // what this one sample shows
}

func newVisit(p *config.Plant) *visit {
	v := &visit{plant: p, loops: make([]*diagnostics.Loop, len(p.Loops))}
	for i := range p.Loops {
		v.loops[i], _ = diagnostics.NewLoop(p.Loops[i].Spec) // config has built one before
	}
	return v
}

// Take assesses a reading.
func (v *visit) Take(loop int, r *devices.Reading) {
	s := visited{at: loop, read: *r}
	if l := v.loops[loop]; l != nil {
		s.says = l.Assess(&s.read.Sample)
		s.finds = l.Check(&s.read.Sample, &s.says, nil)
	}
	v.seen = append(v.seen, s)
}

// ordered returns what was read in the order of the plant.
func (v *visit) ordered() []visited {
	slices.SortStableFunc(v.seen, func(a, b visited) int { return a.at - b.at })
	return v.seen
}

func (v *visit) trouble() bool {
	return slices.ContainsFunc(v.seen, func(s visited) bool { return !s.says.Quality.Usable() || s.says.Over || len(s.finds) > 0 })
}

// problem is why the loop is not good, in one sentence.
func (s *visited) problem() string {
	switch {
	case s.read.Problem != "":
		return s.read.Problem
	case s.says.Reason != "":
		return string(s.says.Reason)
	case s.says.Over:
		return fmt.Sprintf("error over its limit with P = %.0f %%", 100*s.says.POverLimit)
	}
	return ""
}

func (v *visit) printJSON(out io.Writer) error {
	e := json.NewEncoder(out)
	for _, s := range v.ordered() {
		if err := e.Encode(readingJSON(&v.plant.Loops[s.at], &s)); err != nil {
			return err
		}
	}
	return nil
}
