package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"regexp"

	"github.com/jedib0t/go-pretty/v6/table"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/quantity"
)

// budgetAnswer is the JSON form; longest is null where the method leaves no
// lead in the reading.
type budgetAnswer struct {
	Conductor string   `json:"conductor"`
	LengthM   float64  `json:"length_m"`
	LengthFt  float64  `json:"length_ft"`
	Method    string   `json:"method"`
	Sensor    string   `json:"sensor"`
	Class     string   `json:"class"` // that the tolerance comes from
	TempDegC  float64  `json:"temp_degC"`
	Spread    float64  `json:"spread"`
	SpreadOf  string   `json:"spread_of"`
	Formula   string   `json:"spread_formula"`
	Allowed   float64  `json:"allowed_share"`
	LeadOhm   float64  `json:"lead_ohm"`
	Imbalance float64  `json:"imbalance_ohm"`
	ErrorC    float64  `json:"error_degC"`
	ErrorF    float64  `json:"error_degF"`
	TolC      float64  `json:"tolerance_degC"`
	TolF      float64  `json:"tolerance_degF"`
	Share     float64  `json:"share"`
	LongestM  *float64 `json:"longest_m"`
	LongestFt *float64 `json:"longest_ft"`
}

const feetPerMetre = 1 / 0.3048

func answerBudget(b *diagnostics.LengthBudget) (budgetAnswer, error) {
	r, err := b.Compute()
	if err != nil {
		return budgetAnswer{}, err
	}
	a := budgetAnswer{
		Conductor: b.Conductor.Name(), LengthM: float64(b.Length), LengthFt: float64(b.Length) * feetPerMetre,
		Method: b.Method.String(), Sensor: b.Sensor.Name(), Class: r.Class.String(), TempDegC: float64(b.Temp),
		Spread: b.Spread, SpreadOf: b.SpreadOf.String(), Formula: b.SpreadOf.Formula(), Allowed: b.Share,
		LeadOhm: float64(r.Lead), Imbalance: float64(r.Imbalance),
		ErrorC: float64(r.Error), ErrorF: r.Error.Fahrenheit(), TolC: float64(r.Tolerance), TolF: r.Tolerance.Fahrenheit(),
		Share: r.Used,
	}
	if !math.IsInf(float64(r.Longest), 0) {
		m := max(float64(r.Longest), 0)
		ft := m * feetPerMetre
		a.LongestM, a.LongestFt = &m, &ft
	}
	return a, nil
}

func printBudget(w io.Writer, b *diagnostics.LengthBudget, asJSON bool) error {
	a, err := answerBudget(b)
	if err != nil {
		return err
	}
	if asJSON {
		return json.NewEncoder(w).Encode(a)
	}
	_, err = fmt.Fprintf(w, "conductor        %s, %s (%s)\n"+
		"method           %s, %s at %s\n"+
		"spread           %s, %s\n"+
		"lead             %.4f Ω\n"+
		"imbalance        %s Ω\n"+
		"reading error    %s °C, %s °F\n"+
		"tolerance        ±%.3f °C, ±%.3f °F (%s)\n"+
		"share            %.1f %% of the tolerance, %.0f %% allowed\n"+
		"longest cable    %s\n",
		a.Conductor, metres(a.LengthM), feet(a.LengthFt),
		a.Method, a.Sensor, celsius(a.TempDegC),
		percent(a.Spread), a.Formula,
		a.LeadOhm, signed(a.Imbalance, 5), signed(a.ErrorC, 4), signed(a.ErrorF, 4),
		a.TolC, a.TolF, a.Class, a.Share*100, a.Allowed*100, longest(&a))
	return err
}

// budgetGauges are the rows of the table: what is sold for extensions.
var budgetGauges = []string{
	"16 AWG", "18 AWG", "20 AWG", "22 AWG", "24 AWG", "26 AWG", "28 AWG",
	"0.5 mm2", "0.75 mm2", "1 mm2", "1.5 mm2", "2.5 mm2",
}

func printBudgetTable(w io.Writer, b *diagnostics.LengthBudget, asJSON bool) error {
	if b.Length == 0 {
		b.Length = 100 * 0.3048 // the length of most published tables
	}
	rows := make([]budgetAnswer, 0, len(budgetGauges))
	for _, g := range budgetGauges {
		c, err := copper.ParseConductor(g)
		if err != nil {
			return couldNot(err)
		}
		row := *b
		row.Conductor = c
		a, err := answerBudget(&row)
		if err != nil {
			return err
		}
		rows = append(rows, a)
	}
	if asJSON {
		return json.NewEncoder(w).Encode(map[string]any{"rows": rows})
	}
	head := rows[0]
	if _, err := fmt.Fprintf(w, "%s, %s at %s, %s; %s (%s); spread %s, %s; %.0f %% of the tolerance allowed\n", head.Method, head.Sensor,
		celsius(head.TempDegC), head.Class, metres(head.LengthM), feet(head.LengthFt), percent(head.Spread), head.Formula, head.Allowed*100); err != nil {
		return err
	}
	t := table.NewWriter()
	styled(t)
	t.SetOutputMirror(w)
	t.AppendHeader(table.Row{"conductor", "lead Ω", "imbalance Ω", "error °C", "error °F", "share", "longest"})
	for i := range rows {
		a := &rows[i]
		t.AppendRow(table.Row{
			a.Conductor, fmt.Sprintf("%.4f", a.LeadOhm), signed(a.Imbalance, 5), signed(a.ErrorC, 4), signed(a.ErrorF, 4),
			fmt.Sprintf("%.1f %%", a.Share*100), longest(a),
		})
	}
	t.Render()
	return nil
}

func longest(a *budgetAnswer) string {
	if a.LongestM == nil {
		return "no limit: the method leaves no lead in the reading"
	}
	return metres(*a.LongestM) + " (" + feet(*a.LongestFt) + ")"
}

func metres(m float64) string  { return fmt.Sprintf("%.2f m", m) }
func feet(ft float64) string   { return fmt.Sprintf("%.2f ft", ft) }
func percent(p float64) string { return fmt.Sprintf("%.4g %%", p*100) }

func celsius(t float64) string {
	return minus(fmt.Sprintf("%.4g °C (%.4g °F)", t, quantity.DegC(t).Fahrenheit()))
}

// signed prints a number with its sign, with U+2212 for minus.
func signed(x float64, digits int) string { return minus(fmt.Sprintf("%+.*f", digits, x)) }

// minus replaces the hyphen before a digit by a true minus sign and leaves the
// hyphens of words alone.
func minus(s string) string { return hyphenMinus.ReplaceAllString(s, "${1}−${2}") }

var hyphenMinus = regexp.MustCompile(`(^|[^\pL\d])-(\d)`)
