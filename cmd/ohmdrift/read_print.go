package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/jedib0t/go-pretty/v6/table"

	"ohmdrift/config"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// printTable shows one line a loop. What is not known is left empty.
func (v *visit) printTable(out io.Writer) error {
	t := table.NewWriter()
	styled(t)
	t.AppendHeader(table.Row{"tag", "a1 Ω", "a2 Ω", "b1 Ω", "b2 Ω", "imbalance Ω", "reading °C", "error °C", "U °C", "quality", "problem"})
	for _, s := range v.ordered() {
		a := &s.says
		t.AppendRow(table.Row{
			v.plant.Loops[s.at].Tag,
			decimal(a.Leads[measure.A1], 3), decimal(a.Leads[measure.A2], 3), decimal(a.Leads[measure.B1], 3), decimal(a.Leads[measure.B2], 3),
			sign(a.Imbalance, 3), decimal(a.Reading, 2), sign(a.Error, 3), decimal(a.U, 3),
			a.Quality.String(), wrap(s.problem(), 48),
		})
	}
	t.SetOutputMirror(out)
	t.Render()
	if _, err := fmt.Fprintf(out, "%s read, error = indicated − true, U about 95 %%\n", counted(len(v.seen), "loop")); err != nil {
		return err
	}
	return v.printFindings(out)
}

// decimal prints a known number with a true minus sign, "" for an unknown one.
func decimal[T ~float64](x T, places int) string {
	if !quantity.Known(x) {
		return ""
	}
	s := strconv.FormatFloat(float64(x), 'f', places, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}

// sign is decimal with a plus before positive numbers.
func sign[T ~float64](x T, places int) string {
	s := decimal(x, places)
	if s == "" || strings.HasPrefix(s, "−") || strings.Trim(s, "0.") == "" {
		return s
	}
	return "+" + s
}

// wrap breaks a sentence into lines of about width characters.
func wrap(s string, width int) string {
	var b strings.Builder
	line := 0
	for i, word := range strings.Fields(s) {
		switch {
		case i == 0:
		case line+len(word) >= width:
			b.WriteByte('\n')
			line = 0
		default:
			b.WriteByte(' ')
			line++
		}
		b.WriteString(word)
		line += len(word)
	}
	return b.String()
}

// readJSON is a line of read --json; numbers that are not known are null.
type readJSON struct {
	Loop       string    `json:"loop"`
	Time       time.Time `json:"time"`
	Quality    string    `json:"quality"`
	A1         *float64  `json:"a1_ohm"`
	A2         *float64  `json:"a2_ohm"`
	B1         *float64  `json:"b1_ohm"`
	B2         *float64  `json:"b2_ohm"`
	Sensor     *float64  `json:"sensor_ohm"`
	Reading    *float64  `json:"reading_degC"`
	Imbalance  *float64  `json:"imbalance_ohm"`
	Error      *float64  `json:"error_degC"`
	U          *float64  `json:"u_degC"`
	POverLimit *float64  `json:"p_over_limit"`
	Over       bool      `json:"over_limit"`
	TookMS     float64   `json:"took_ms"`
	Problem    string    `json:"problem,omitempty"`

	Findings []shownJSON `json:"findings,omitempty"`
}

func readingJSON(l *config.Loop, s *visited) readJSON {
	a := &s.says
	return readJSON{
		Loop: l.Tag, Time: s.read.At, Quality: a.Quality.String(),
		A1: orNull(a.Leads[measure.A1]), A2: orNull(a.Leads[measure.A2]), B1: orNull(a.Leads[measure.B1]), B2: orNull(a.Leads[measure.B2]),
		Sensor: orNull(a.Sensor), Reading: orNull(a.Reading), Imbalance: orNull(a.Imbalance),
		Error: orNull(a.Error), U: orNull(a.U), POverLimit: orNull(a.POverLimit), Over: a.Over,
		TookMS: float64(s.read.Took.Microseconds()) / 1000, Problem: s.problem(), Findings: shownOf(l, s),
	}
}

func orNull[T ~float64](x T) *float64 {
	if !quantity.Known(x) {
		return nil
	}
	f := float64(x)
	return &f
}
