package replay

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
	"unicode"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
)

// Explanation writes down what the engine saw of one loop: TAG.csv has one row a
// block and one a finding, TAG.svg draws them.
type Explanation struct {
	spec  *diagnostics.Spec
	file  *os.File
	buf   *bufio.Writer
	csv   *csv.Writer
	svg   string // name of the file
	chart chart
	err   error
}

// Explain creates the files for a loop in a folder, which is made if it is not
// there.
func Explain(dir string, spec *diagnostics.Spec) (*Explanation, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("explain: %w", err)
	}
	name := filepath.Join(dir, fileName(spec.Tag))
	f, err := os.Create(name + ".csv")
	if err != nil {
		return nil, fmt.Errorf("explain: %w", err)
	}
	e := &Explanation{spec: spec, file: f, buf: bufio.NewWriter(f), svg: name + ".svg", chart: chart{spec: spec}}
	e.csv = csv.NewWriter(e.buf)
	e.write(e.header())
	return e, nil
}

// fileName keeps what is safe in a file name of a tag.
func fileName(tag string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("-_.", r) {
			return r
		}
		return '_'
	}, strings.TrimLeft(tag, "."))
}

func (e *Explanation) header() []string {
	h := []string{"time", "what", "copper_factor", "learnt", "threshold_times", "middle_ohm", "middle_scatter_ohm"}
	for _, l := range e.spec.Leads() {
		for _, q := range [...]string{"contact", "level", "threshold", "swing", "noise", "noise_base"} {
			h = append(h, fmt.Sprintf("%s_%s_ohm", l, q))
		}
		h = append(h, l.String()+"_excursions", l.String()+"_threshold_rule")
	}
	return append(h, "standing", "said", "error_degC", "u_degC", "p10", "p50", "p90")
}

// Take writes what was seen; an error is kept for Close.
func (e *Explanation) Take(s *Seen) {
	if s.Block {
		e.write(append(e.row(s, s.View.Block, "block", ""), "", "", "", "", ""))
		e.chart.block(s)
	}
	for i := range s.Said {
		f := &s.Said[i]
		e.write(append(e.row(s, f.Time, "finding", said(f)), outlook(f)...))
		e.chart.said(f)
	}
}

// said is a finding in one cell.
func said(f *finding.Finding) string {
	t := fmt.Sprintf("%s %s", f.Kind, f.State)
	if leads := f.Leads.Names(); len(leads) > 0 {
		t += " " + strings.Join(leads, " ")
	}
	return t + ": " + f.Evidence
}

// outlook is what a finding says of the error and of the time left, in the cells
// after it; a moment that is not known or never comes is empty.
func outlook(f *finding.Finding) []string {
	r := []string{decimals(f.Error), decimals(f.U), "", "", ""}
	if f.Forecast != nil {
		for i, t := range [...]time.Time{f.Forecast.P10, f.Forecast.P50, f.Forecast.P90} {
			if !t.IsZero() {
				r[2+i] = t.UTC().Format(time.RFC3339)
			}
		}
	}
	return r
}

func (e *Explanation) row(s *Seen, at time.Time, what, said string) []string {
	v := &s.View
	r := []string{at.UTC().Format(time.RFC3339), what, decimals(factor(v)), strconv.FormatBool(v.Learnt), decimals(v.Young), decimals(v.Middle), decimals(v.MiddleU)}
	for _, l := range e.spec.Leads() {
		for _, q := range [...]quantity.Ohm{v.Contact[l], v.Level[l], v.Threshold[l], quantity.Ohm(v.Swing[l]), v.Noise[l], v.NoiseBase[l]} {
			r = append(r, decimals(q))
		}
		r = append(r, decimals(v.Spikes[l]), v.Rule[l])
	}
	standing := make([]string, len(v.Standing))
	for i, k := range v.Standing {
		standing[i] = string(k)
	}
	return append(r, strings.Join(standing, " "), said)
}

// decimals is a number with six decimals; empty where it is not known.
func decimals[T ~float64](x T) string {
	if !quantity.Known(x) {
		return ""
	}
	return strconv.FormatFloat(float64(x), 'f', 6, 64)
}

func (e *Explanation) write(record []string) {
	if err := e.csv.Write(record); err != nil && e.err == nil {
		e.err = err
	}
}

// Close finishes both files and returns the first error of any.
func (e *Explanation) Close() error {
	e.csv.Flush()
	for _, err := range [...]error{e.csv.Error(), e.buf.Flush(), e.file.Close()} {
		if e.err == nil {
			e.err = err
		}
	}
	if e.err == nil {
		e.err = os.WriteFile(e.svg, e.chart.svg(), 0o644)
	}
	if e.err != nil {
		return fmt.Errorf("explain %s: %w", e.spec.Tag, e.err)
	}
	return nil
}
