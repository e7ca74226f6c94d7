package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/spf13/pflag"

	"ohmdrift/config"
	"ohmdrift/daemon"
	"ohmdrift/daemon/poll"
	"ohmdrift/devices"
)

// scanOptions are the flags of read --scan.
type scanOptions struct {
	on      bool
	link    string
	units   string
	profile string
	base    uint16
}

func (o *scanOptions) flags(f *pflag.FlagSet) {
	f.BoolVar(&o.on, "scan", false, "look which units answer on a link; reads only")
	f.StringVar(&o.link, "link", "", "the link to scan, by its name; all without")
	f.StringVar(&o.units, "units", "1-247", "units to ask, as in 1-32,40")
	f.StringVar(&o.profile, "profile", "", "profile of the plant file to try on each unit, in every byte order")
	f.Uint16Var(&o.base, "base", 0, "wire address of the profile's first register")
}

func (o *scanOptions) run(ctx context.Context, p *config.Plant, asJSON bool, out io.Writer) error {
	units, err := parseUnits(o.units)
	if err != nil {
		return &exitError{exitUsage, err}
	}
	profile, err := o.find(p)
	if err != nil {
		return &exitError{exitUsage, err}
	}
	links := daemon.PollPlan(p).Links
	if err := o.known(links); err != nil {
		return &exitError{exitUsage, err}
	}
	found := 0
	for _, l := range links {
		if o.link != "" && l.Name != o.link {
			continue
		}
		answers, err := poll.Scan(ctx, l, poll.ScanOptions{Units: units, Profile: profile, Base: o.base})
		if err != nil {
			return couldNot(err)
		}
		found += len(answers)
		if err := printScan(out, l.Name, answers, asJSON); err != nil {
			return couldNot(err)
		}
	}
	if found == 0 {
		fmt.Fprintln(out, "no unit answered")
		return bad()
	}
	return nil
}

// known refuses the name of a link that the plant does not have: nobody would
// answer, and that would look like silent devices.
func (o *scanOptions) known(links []devices.LinkConfig) error {
	names := make([]string, len(links))
	for i, l := range links {
		names[i] = l.Name
	}
	if o.link == "" || slices.Contains(names, o.link) {
		return nil
	}
	return fmt.Errorf("--link: no link %q in the plant file; it has %s", o.link, strings.Join(names, ", "))
}

// find returns the profile by name, as the plant's loops use it; nil without a
// name.
func (o *scanOptions) find(p *config.Plant) (*devices.Profile, error) {
	if o.profile == "" {
		return nil, nil
	}
	var names []string
	for i := range p.Loops {
		if q := p.Loops[i].Profile; q != nil {
			if q.Name == o.profile {
				return q, nil
			}
			names = append(names, q.Name)
		}
	}
	return nil, fmt.Errorf("profile %q is not used in the plant file; it uses %s", o.profile, strings.Join(unique(names), ", "))
}

func unique(names []string) []string {
	seen := map[string]bool{}
	var u []string
	for _, n := range names {
		if !seen[n] {
			u = append(u, n)
		}
		seen[n] = true
	}
	return u
}

// parseUnits reads a list such as 1-32,40.
func parseUnits(s string) ([]uint8, error) {
	var units []uint8
	for part := range strings.SplitSeq(s, ",") {
		from, to, isRange := strings.Cut(strings.TrimSpace(part), "-")
		if !isRange {
			to = from
		}
		a, err1 := strconv.Atoi(from)
		b, err2 := strconv.Atoi(to)
		if err1 != nil || err2 != nil || a < 1 || b > 255 || a > b {
			return nil, fmt.Errorf("units %q: want numbers from 1 to 247 (255 for a device on TCP), as in 1-32,40", s)
		}
		for u := a; u <= b; u++ {
			units = append(units, uint8(u))
		}
	}
	return units, nil
}

func printScan(out io.Writer, link string, answers []poll.Found, asJSON bool) error {
	if asJSON {
		e := json.NewEncoder(out)
		for _, a := range answers {
			if err := e.Encode(struct {
				Link string `json:"link"`
				poll.Found
			}{link, a}); err != nil {
				return err
			}
		}
		return nil
	}
	t := table.NewWriter()
	styled(t)
	t.SetTitle("link " + link)
	t.AppendHeader(table.Row{"unit", "answers", "round trip ms", "identity", "values by byte order"})
	for _, a := range answers {
		t.AppendRow(table.Row{a.Unit, wrap(a.Answer, 48), fmt.Sprintf("%.2f", a.RoundTripMS), a.Identity, strings.Join(a.Values, "\n")})
	}
	t.SetOutputMirror(out)
	t.Render()
	return nil
}
