package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ohmdrift/config"
	"ohmdrift/daemon/replay"
	"ohmdrift/diagnostics"
)

// replaying is what replay is asked to do.
type replaying struct {
	config, loops string
	columns       []string
	input         string
	inputColumns  []string
	estimates     time.Duration
	explain       string
	explainDir    string
	cores         int
}

func newReplay() *cobra.Command {
	var r replaying
	c := &cobra.Command{
		Use:   "replay (--config FILE | --loops CSV) --input CSV",
		Short: "Run the diagnostics over recorded data",
		Long: `Run the engine that runs live over recorded data and print findings and forecasts
as JSON lines in time order. The input has a header line with time (RFC 3339), loop
and any of a1, a2, b1, b2, loop_a, loop_b, sensor (Ω), reading and device_temp (°C);
rows are in time order over all loops; empty or NaN means not available. The plant
comes from a plant file or from an instrument index alone.

A bad row is reported with its line, counted and skipped.

Exit code 0: every row was good. 1: some were bad or out of order, or the plant has
mistakes. 2: wrong usage. 3: the input could not be read or the output not written.`,
		Example: "  ohmdrift replay --loops index.csv --input samples.csv.gz --estimates 1h > findings.jsonl\n" +
			"  ohmdrift replay --config larkfield.yaml --input samples.csv --explain TT-2101 --explain-dir seen",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return r.run(c.Context(), c.InOrStdin(), c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&r.config, "config", "", "the plant's YAML file")
	f.StringVar(&r.loops, "loops", "", "an instrument index (CSV) instead of a plant file")
	f.StringArrayVar(&r.columns, "column", nil, `what a column of the index is called here, as in "Tag No=tag"`)
	f.StringVar(&r.input, "input", "", "recorded data, CSV or gzipped CSV; - reads standard input")
	f.StringArrayVar(&r.inputColumns, "input-column", nil, `what a column of the input is called here, as in "Timestamp=time"`)
	f.DurationVar(&r.estimates, "estimates", 0, "also print an estimate of every loop, in whole hours such as 1h")
	f.StringVar(&r.explain, "explain", "", "tag of a loop to write down what the engine saw of")
	f.StringVar(&r.explainDir, "explain-dir", ".", "folder for the CSV and SVG of --explain")
	f.IntVar(&r.cores, "cores", 0, "cores to use; 0 = all")
	c.MarkFlagsOneRequired("config", "loops")
	c.MarkFlagsMutuallyExclusive("config", "loops")
	_ = c.MarkFlagRequired("input") // the flag exists
	return c
}

func (r *replaying) run(ctx context.Context, stdin io.Reader, out, errs io.Writer) error {
	renamed, err := pairsOf(r.inputColumns)
	if err != nil {
		return err
	}
	if r.estimates < 0 || r.estimates%time.Hour != 0 {
		return fmt.Errorf("--estimates %v: want whole hours, such as 1h or 24h", r.estimates)
	}
	plant, err := r.plant(errs)
	if err != nil {
		return err
	}
	in, size, err := r.open(stdin)
	if err != nil {
		return couldNot(err)
	}
	defer in.Close()
	o := replay.Options{Cores: r.cores, Columns: renamed, Estimates: r.estimates, Explain: r.explain, Bad: badRows(errs)}
	for i := range plant.Loops {
		o.Loops = append(o.Loops, &plant.Loops[i].Spec)
	}
	explained, err := r.explaining(plant, &o)
	if err != nil {
		return couldNot(err)
	}
	p := newProgress(in, size, errs)
	o.Progress = p.rows
	began := time.Now()
	report, err := replay.Run(ctx, p, out, o)
	p.end()
	if err == nil && explained != nil {
		err = explained.Close()
	}
	summarise(errs, &report, len(o.Loops), time.Since(began))
	switch {
	case err != nil:
		return couldNot(err)
	case !report.Sound():
		return bad()
	}
	return nil
}

// plant reads the plant file or the index; mistakes have been printed when it
// fails.
func (r *replaying) plant(errs io.Writer) (*config.Plant, error) {
	var p *config.Plant
	var err error
	if r.config != "" {
		p, err = config.LoadWith(r.config, config.Options{SkipSecrets: true})
	} else {
		columns, cerr := pairsOf(r.columns)
		if cerr != nil {
			return nil, cerr
		}
		p, err = config.LoadIndex(r.loops, config.IndexOptions{Columns: columns})
	}
	var mistakes config.Mistakes
	switch {
	case errors.As(err, &mistakes):
		if err := printMistakes(errs, mistakes); err != nil {
			return nil, couldNot(err)
		}
		return nil, bad()
	case err != nil:
		return nil, couldNot(err)
	}
	return p, nil
}

func (r *replaying) open(stdin io.Reader) (io.ReadCloser, int64, error) {
	if r.input == "-" {
		return io.NopCloser(stdin), -1, nil
	}
	f, err := os.Open(r.input)
	if err != nil {
		return nil, 0, err
	}
	info, err := f.Stat()
	if err == nil && info.IsDir() {
		err = fmt.Errorf("%s is a folder; want a CSV file", r.input)
	}
	if err != nil {
		return nil, 0, errors.Join(err, f.Close())
	}
	return f, info.Size(), nil
}

// explaining prepares the files of --explain; nil without it.
func (r *replaying) explaining(p *config.Plant, o *replay.Options) (*replay.Explanation, error) {
	if r.explain == "" {
		return nil, nil
	}
	var spec *diagnostics.Spec
	for i := range p.Loops {
		if p.Loops[i].Tag == r.explain {
			spec = &p.Loops[i].Spec
		}
	}
	if spec == nil {
		return nil, fmt.Errorf("--explain: loop %q is not in the plant", r.explain)
	}
	e, err := replay.Explain(r.explainDir, spec)
	if err != nil {
		return nil, err
	}
	o.Explained = e.Take
	return e, nil
}

// pairsOf reads "own=ours" flags.
func pairsOf(list []string) (map[string]string, error) {
	m := make(map[string]string, len(list))
	for _, s := range list {
		own, ours, ok := strings.Cut(s, "=")
		if !ok || own == "" || ours == "" {
			return nil, fmt.Errorf("%q: want \"your name=name here\"", s)
		}
		m[own] = ours
	}
	return m, nil
}

// mostBadRows is how many bad rows are printed one by one; all are counted.
const mostBadRows = 1000

func badRows(errs io.Writer) func(int64, string) {
	n := 0
	w := bufio.NewWriter(errs)
	return func(line int64, problem string) {
		n++
		switch {
		case n <= mostBadRows:
			fmt.Fprintf(w, "line %d: %s; skipped\n", line, problem)
		case n == mostBadRows+1:
			fmt.Fprintln(w, "… further bad rows are counted only")
		default:
			return
		}
		_ = w.Flush() // standard error: nobody to tell
	}
}

func summarise(errs io.Writer, r *replay.Report, loops int, took time.Duration) {
	rate := float64(r.Rows) / max(took.Seconds(), 1e-9)
	fmt.Fprintf(errs, "%s of %s in %.1f s (%.0f/s); %s, %s\n", counted(int(r.Rows), "row"), counted(loops, "loop"), took.Seconds(), rate,
		counted(int(r.Findings), "line")+" of findings", counted(int(r.Estimates), "estimate"))
	if r.Bad > 0 {
		fmt.Fprintf(errs, "%s skipped\n", counted(int(r.Bad), "bad row"))
	}
	if r.Late > 0 {
		fmt.Fprintf(errs, "%s out of order, used\n", counted(int(r.Late), "row"))
	}
}
