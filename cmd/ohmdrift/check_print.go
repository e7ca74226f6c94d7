package main

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"ohmdrift/config"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// mostMistakes is how many mistakes are listed for a person; --json lists all.
const mostMistakes = 100

func printMistakes(out io.Writer, ms config.Mistakes) error {
	var b strings.Builder
	for i, m := range ms {
		if i == mostMistakes {
			fmt.Fprintf(&b, "… and %d more (--json lists all)\n", len(ms)-mostMistakes)
			break
		}
		fmt.Fprintln(&b, m.Error())
	}
	fmt.Fprintf(&b, "\n%s\n", counted(len(ms), "mistake"))
	_, err := io.WriteString(out, b.String())
	return err
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func printPlant(out io.Writer, p *config.Plant) error {
	var b strings.Builder
	for _, w := range p.Warnings {
		fmt.Fprintf(&b, "warning: %s\n", w.Error())
	}
	if len(p.Warnings) > 0 {
		b.WriteString("\n")
	}
	fmt.Fprintf(&b, "%s: %s behind %s\n\n%s\n\n%s\n", p.Site, counted(len(p.Loops), "loop"), counted(len(p.Links), "link"), linkTable(p), loopTable(p))
	b.WriteString("\n" + notes(p))
	b.WriteString("good\n")
	_, err := io.WriteString(out, b.String())
	return err
}

func newTable(head ...any) table.Writer {
	t := table.NewWriter()
	styled(t)
	t.AppendHeader(head)
	return t
}

// styled is how every table looks.
func styled(t table.Writer) {
	t.SetStyle(table.StyleLight)
	t.Style().Format.Header = text.FormatDefault // units and leads keep their case
}

func linkTable(p *config.Plant) string {
	t := newTable("link", "address", "master", "loops", "requests/s", "ceiling/s", "bus load", "longest request")
	loops := make([]int, len(p.Links))
	for _, l := range p.Loops {
		loops[l.Link]++
	}
	for i, k := range p.Links {
		master, ceiling := "shared", ""
		if k.SoleMaster {
			master = "sole"
		}
		if k.MaxRequests > 0 {
			ceiling = fmt.Sprintf("%g", k.MaxRequests)
		}
		t.AppendRow(table.Row{
			k.Name, k.URL, master, loops[i], fmt.Sprintf("%.3g", k.Load.Requests), ceiling,
			fmt.Sprintf("%.1f %%", 100*k.Load.Busy), fmt.Sprintf("%.1f ms", 1e3*k.Load.Longest.Seconds()),
		})
	}
	return t.Render()
}

func loopTable(p *config.Plant) string {
	t := newTable("tag", "method", "reports", "leads", "imbalance", "limit °C", "lead limit Ω", "lead at 20 °C Ω", "cable m", "longest m")
	for i := range p.Loops {
		l := &p.Loops[i]
		o := diagnostics.Observe(l.Spec)
		t.AppendRow(table.Row{
			l.Tag, l.Method.String(), l.Reports.String(), sights(&o), o.Imbalance.Knowledge.String(), limits(l), plain(l.LeadLimit, 3),
			plain(l.Cable20, 3), plain(l.CableM, 1), plain(lengthOf(l).longest, 1),
		})
	}
	return t.Render()
}

// sights groups the leads of a loop by how they are known: "a1 b1 measured".
func sights(o *diagnostics.Observability) string {
	var parts []string
	for k := diagnostics.Measured; ; k-- {
		var leads []string
		for l := measure.A1; l <= measure.B2; l++ {
			if o.HasLead[l] && o.Leads[l].Knowledge == k {
				leads = append(leads, l.String())
			}
		}
		if len(leads) > 0 {
			parts = append(parts, strings.Join(leads, " ")+" "+k.String())
		}
		if k == diagnostics.Invisible {
			return strings.Join(parts, ", ")
		}
	}
}

// limits shows the error limit, both sides where they differ.
func limits(l *config.Loop) string {
	high, low := l.LimitHigh, l.LimitLow
	switch {
	case quantity.Known(high) && high == -low:
		return fmt.Sprintf("±%.4g", float64(high))
	case quantity.Known(high) && quantity.Known(low):
		return fmt.Sprintf("+%.4g −%.4g", float64(high), -float64(low))
	case quantity.Known(high):
		return fmt.Sprintf("+%.4g", float64(high))
	case quantity.Known(low):
		return fmt.Sprintf("−%.4g", -float64(low))
	}
	return ""
}

// plain is a number without trailing zeros; empty where it is not known.
func plain[T ~float64](x T, decimals int) string {
	if !quantity.Known(x) {
		return ""
	}
	p := math.Pow10(decimals)
	return fmt.Sprintf("%.6g", math.Round(float64(x)*p)/p)
}

// notes lists what the loops' observability rests on, each note once with the
// tags that it concerns.
func notes(p *config.Plant) string {
	var order []string
	tags := map[string][]string{}
	add := func(note, tag string) {
		if tags[note] == nil {
			order = append(order, note)
		}
		tags[note] = append(tags[note], tag)
	}
	for i := range p.Loops {
		o := diagnostics.Observe(p.Loops[i].Spec)
		if a := o.Imbalance.Assumption; a != "" {
			add("imbalance: "+a, p.Loops[i].Tag)
		}
		for _, n := range o.Notes {
			add(n, p.Loops[i].Tag)
		}
		if lengthOf(&p.Loops[i]).over {
			add("the cable is longer than its budget: sound leads alone may use more than a quarter of the class tolerance", p.Loops[i].Tag)
		}
	}
	var b strings.Builder
	for _, n := range order {
		fmt.Fprintf(&b, "%s\n    %s\n", n, someTags(tags[n]))
	}
	if len(order) > 0 {
		b.WriteString("\n")
	}
	return b.String()
}

func someTags(tags []string) string {
	const most = 8
	if len(tags) <= most {
		return strings.Join(tags, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(tags[:most], ", "), len(tags)-most)
}
