package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"ohmdrift/config"
	"ohmdrift/daemon/demo"
)

// demoFlags are what the command line says beyond demo.Options.
type demoFlags struct {
	asJSON, verbose     bool
	influx, bucket, org string
}

func newDemo() *cobra.Command {
	var o demo.Options
	var f demoFlags
	c := &cobra.Command{
		Use:   "demo",
		Short: "Run the invented Larkfield plant: simulated transmitters, daemon and page",
		Long: "Runs simulated transmitters on Modbus over loopback, the daemon on its embedded store and\n" +
			"the page. A recorded past of 120 days goes through the engine first, then every loop is\n" +
			"polled once a second. The seed chooses which loops fail.\n\n" +
			"Points go to a small receiver inside the demo; with --influx they go to a server of your own\n" +
			"(its token is read from OHMDRIFT_INFLUX_TOKEN).",
		Example: "  ohmdrift demo\n  ohmdrift demo --for 30s --json\n  ohmdrift demo --seed 7 --speed 2000\n\nWhile it runs, in another terminal:\n  ohmdrift read --config deploy/example/larkfield.yaml",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return runDemo(c, o, f)
		},
	}
	c.Flags().Uint64Var(&o.Seed, "seed", 1, "which loops fail, and how")
	c.Flags().Float64Var(&o.Speed, "speed", 1, "ageing of the simulated terminals from now on, times real time; the daemon's clock stays real")
	c.Flags().DurationVar(&o.For, "for", 0, "stop after this long and print a summary; 0 = run until stopped")
	c.Flags().DurationVar(&o.Past, "past", 0, "length of the recorded past; 0 = 120 days")
	c.Flags().StringVar(&o.Dir, "data", "", "data folder to keep; none = a temporary one")
	c.Flags().StringVar(&o.Listen, "listen", "", "address of the page; none = 127.0.0.1:8321, or a free port when that is in use")
	c.Flags().StringVar(&f.influx, "influx", "", "URL of a server with the v2 write API to send points to")
	c.Flags().StringVar(&f.bucket, "bucket", "ohmdrift", "bucket on that server")
	c.Flags().StringVar(&f.org, "org", "larkfield", "organisation on that server")
	c.Flags().BoolVar(&f.asJSON, "json", false, "print the summary as one JSON object")
	c.Flags().BoolVar(&f.verbose, "verbose", false, "show the daemon's log on standard error")
	return c
}

func runDemo(c *cobra.Command, o demo.Options, f demoFlags) error {
	if o.For < 0 || o.Past < 0 || !(o.Speed > 0) {
		return fmt.Errorf("--for %s, --past %s, --speed %g: want durations that are not negative and a speed above 0", o.For, o.Past, o.Speed)
	}
	o.Say = c.ErrOrStderr()
	o.Log = zerolog.Nop()
	if f.verbose {
		o.Log = newLog(c.ErrOrStderr())
	}
	if f.influx != "" {
		o.Influx = &config.Influx{URL: f.influx, Bucket: f.bucket, Org: f.org, Token: os.Getenv("OHMDRIFT_INFLUX_TOKEN"), Batch: 5000}
	}
	sum, err := demo.Run(c.Context(), o)
	if err != nil {
		return couldNot(err)
	}
	if f.asJSON {
		err = json.NewEncoder(c.OutOrStdout()).Encode(sum)
	} else {
		err = printSummary(c.OutOrStdout(), sum)
	}
	if err != nil {
		return couldNot(err)
	}
	return nil
}

func printSummary(w io.Writer, s demo.Summary) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %d polls, %d good; %d values stored, %d points sent\n", counted(s.Loops, "loop"), s.Polls, s.Good, s.StoredValues, s.PointsSent)
	switch len(s.Findings) {
	case 0:
		b.WriteString("nothing stands\n")
	case 1:
		b.WriteString("1 finding stands:\n")
	default:
		fmt.Fprintf(&b, "%d findings stand:\n", len(s.Findings))
	}
	for _, f := range s.Findings {
		leads := strings.Join(f.Leads, " ")
		if leads == "" {
			leads = "no lead named"
		}
		fmt.Fprintf(&b, "  %-10s %-18s %s\n", f.Loop, f.Kind, leads)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// newLog writes one JSON object a line, with times in UTC to the millisecond.
func newLog(w io.Writer) zerolog.Logger {
	return zerolog.New(w).With().Timestamp().Logger()
}
