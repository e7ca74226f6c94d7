package main

import (
	"fmt"
	"math"

	"github.com/spf13/cobra"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// budgetFlags are the words of the command line, units included.
type budgetFlags struct {
	gauge, ohmPer, length, method, offset, sensor, class, construction string
	temp, leadTemp, spread, spreadOf, share, plot                      string
	wires                                                              int
	table, json                                                        bool
}

func newBudget() *cobra.Command {
	var f budgetFlags
	c := &cobra.Command{
		Use:   "budget",
		Short: "Work out what a lead extension costs and how long it may be",
		Long: "budget works out the lead resistance of an extension, the imbalance that its spread\n" +
			"makes, the reading error, its share of the sensor's tolerance, and the longest cable.\n" +
			"The spread is an assumption unless it was measured: 5 % is usual for an unlabelled\n" +
			"cable, and 1.5 % makes every answer 3.3 times smaller. Results are estimates.",
		Example: "  ohmdrift budget --gauge \"22 AWG\" --length \"15 ft\" --wires 3 --class \"grade A\"\n" +
			"  ohmdrift budget --gauge \"0.5 mm2\" --length \"30 m\" --spread 3% --spread-of sum --json\n" +
			"  ohmdrift budget --table --class \"class A\" --temp \"100 C\" --plot budget.svg",
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return runBudget(c, &f) },
	}
	fs := c.Flags()
	fs.StringVar(&f.gauge, "gauge", "22 AWG", "conductor: \"22 AWG\", \"18 AWG stranded tinned\", \"0.5 mm2\", \"0.75 mm2 class 5\"")
	fs.StringVar(&f.ohmPer, "ohm-per", "", "measured resistance instead of --gauge: \"0.69 ohm/100 ft\"")
	fs.StringVar(&f.length, "length", "", "length of the cable: \"15 ft\", \"12 m\" (without it: the longest)")
	fs.IntVar(&f.wires, "wires", 3, "leads: 2, 3 or 4")
	fs.StringVar(&f.method, "method", "", "how the input removes lead resistance (default by --wires: two-wire, three-wire-loop, four-wire)")
	fs.StringVar(&f.offset, "offset", "", "fixed compensation of two-wire-fixed: \"1.2 ohm\" (default: the leads at 20 °C)")
	fs.StringVar(&f.sensor, "sensor", "Pt100", "sensor designation")
	fs.StringVar(&f.class, "class", "grade A", "tolerance: class AA, A, B, C or grade A, B")
	fs.StringVar(&f.construction, "construction", "wire-wound", "wire-wound or film")
	fs.StringVar(&f.temp, "temp", "0 C", "temperature of the sensor: \"0 C\", \"32 F\"")
	fs.StringVar(&f.leadTemp, "lead-temp", "20 C", "temperature of the cable")
	fs.StringVar(&f.spread, "spread", "5%", "difference between the largest and smallest lead")
	fs.StringVar(&f.spreadOf, "spread-of", "nominal", "what the spread is a share of: nominal, min or sum")
	fs.StringVar(&f.share, "share", "25%", "part of the tolerance that the leads may use")
	fs.BoolVar(&f.table, "table", false, "print a table over the usual gauges")
	fs.StringVar(&f.plot, "plot", "", "write a plot of error over length to this SVG file")
	fs.BoolVar(&f.json, "json", false, "print JSON")
	c.MarkFlagsMutuallyExclusive("gauge", "ohm-per")
	return c
}

func runBudget(c *cobra.Command, f *budgetFlags) error {
	b, err := f.parse()
	if err != nil {
		return err
	}
	if f.length == "" && !f.table {
		if err := takeLongest(b); err != nil {
			return err
		}
	}
	if f.plot != "" {
		if err := writeBudgetPlot(f.plot, b); err != nil {
			return couldNot(err)
		}
	}
	if f.table {
		return printBudgetTable(c.OutOrStdout(), b, f.json)
	}
	return printBudget(c.OutOrStdout(), b, f.json)
}

// takeLongest makes the longest cable the one asked for.
func takeLongest(b *diagnostics.LengthBudget) error {
	r, err := b.Compute()
	switch {
	case err != nil:
		return err
	case math.IsInf(float64(r.Longest), 1):
		return fmt.Errorf("method %v leaves no lead in the reading, so there is no longest cable: give --length", b.Method)
	}
	b.Length = r.Longest
	return nil
}

// parse turns the words into a budget; each error names its flag.
func (f *budgetFlags) parse() (*diagnostics.LengthBudget, error) {
	b := &diagnostics.LengthBudget{Fixed: quantity.Ohm(math.NaN())}
	steps := []struct {
		flag string
		do   func() error
	}{
		{"gauge", func() (err error) { b.Conductor, err = f.conductor(); return err }},
		{"length", func() (err error) {
			if f.length != "" {
				b.Length, err = quantity.ParseLength(f.length)
			}
			return err
		}},
		{"wires", f.checkWires},
		{"method", func() (err error) { b.Method, err = f.parseMethod(); return err }},
		{"offset", func() (err error) {
			if f.offset != "" {
				b.Fixed, err = quantity.ParseOhm(f.offset)
			}
			return err
		}},
		{"sensor", func() (err error) { b.Sensor, err = rtd.ParseSensor(f.sensor); return err }},
		{"class", func() (err error) { b.Class, err = parseBudgetClass(f.class); return err }},
		{"construction", func() (err error) { b.Construction, err = rtd.ParseConstruction(f.construction); return err }},
		{"temp", func() (err error) { b.Temp, err = quantity.ParseTemp(f.temp); return err }},
		{"lead-temp", func() (err error) { b.LeadTemp, err = quantity.ParseTemp(f.leadTemp); return err }},
		{"spread", func() (err error) { b.Spread, err = parsePart(f.spread); return err }},
		{"spread-of", func() (err error) { b.SpreadOf, err = diagnostics.ParseSpreadOf(f.spreadOf); return err }},
		{"share", func() (err error) { b.Share, err = parsePart(f.share); return err }},
	}
	for _, s := range steps {
		if err := s.do(); err != nil {
			return nil, fmt.Errorf("--%s: %w", s.flag, err)
		}
	}
	return b, nil
}

func (f *budgetFlags) conductor() (copper.Conductor, error) {
	if f.ohmPer != "" {
		per, err := quantity.ParsePerLength(f.ohmPer)
		return copper.Measured(per), err
	}
	return copper.ParseConductor(f.gauge)
}

func (f *budgetFlags) checkWires() error {
	if f.wires < 2 || f.wires > 4 {
		return fmt.Errorf("%d: want 2, 3 or 4", f.wires)
	}
	return nil
}

// parseMethod takes the usual method of a number of wires where none is given.
func (f *budgetFlags) parseMethod() (wiring.Method, error) {
	if f.method == "" {
		return [...]wiring.Method{2: wiring.TwoWire, 3: wiring.ThreeWireLoop, 4: wiring.FourWire}[f.wires], nil
	}
	return wiring.ParseMethod(f.method)
}

func parseBudgetClass(s string) (rtd.Class, error) {
	c, err := rtd.ParseClass(s)
	if err == nil && c == rtd.ClassNone {
		err = fmt.Errorf("a budget needs a tolerance: class AA, A, B, C or grade A, B")
	}
	return c, err
}

// parsePart reads a share of which the whole is the most.
func parsePart(s string) (float64, error) {
	p, err := quantity.ParseShare(s)
	if err == nil && (p <= 0 || p > 1) {
		err = fmt.Errorf("share %q: want more than 0 and at most 100%%", s)
	}
	return p, err
}
