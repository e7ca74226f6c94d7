package web

import (
	"fmt"
	"math"
	"net/url"
	"strconv"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// What a cell says instead of a number.
const (
	notVisible = "not visible" // the transmitter does not show it
	noValue    = "no value"    // it would, but there is none yet
	noLead     = "–"           // the wiring has no such lead
)

// leadCell is one lead of one loop.
type leadCell struct {
	Name string
	Text string
	Word bool // the text is a word, not a number
	None bool // the wiring has no such lead
	Bad  bool // a finding names it
}

// rowShape is what a row looks like apart from the numbers that move with every
// poll. When it changes, the whole row is sent anew.
type rowShape struct {
	Tag, Href, Area, Box, Service, Method string
	State                                 state
	Bad                                   finding.LeadSet
	Words                                 [measure.LeadCount]string
	Stands                                string
	More                                  int
	Problem                               string
	Quality                               string
	Dim                                   bool // the values are not those of now
	Over                                  bool
	NoImbalance, NoError                  bool // a word stands in place of the number
	Inferred                              bool // imbalance and error rest on an assumption
	StaleS                                int
}

// rowView is one line of the table, ready to print.
type rowView struct {
	rowShape
	ID        string
	Leads     [measure.LeadCount]leadCell
	Imbalance string
	Error, U  string
	Share     string
	Bar       int // length of the bar; barLimit is 100 %
	At        time.Time
	Age       string
}

// barLimit is the length of a share bar at 100 % of the limit, barFull where it
// is cut off.
const (
	barLimit = 40
	barFull  = 56
)

func newRow(n int, r *Row, now time.Time) rowView {
	v := rowView{ID: "r" + strconv.Itoa(n), At: r.Values.At, Age: "–"}
	v.rowShape = rowShape{
		Tag: r.Spec.Tag, Href: "/loop/" + url.PathEscape(r.Spec.Tag), Area: r.Spec.Area, Box: r.Spec.Box,
		Service: r.Spec.Service, Method: r.Spec.Method.String(), State: stateOf(r, now), Problem: r.Problem,
		Quality: qualityWords(r, now), Dim: !live(r, now), Over: r.Values.Over, StaleS: int(staleAfter(r).Seconds()),
	}
	if r.Standing != nil {
		v.Stands, v.More, v.Bad = standing(r.Standing, now), max(r.Open-1, 0), r.Standing.Leads
	}
	if v.State == functionCheck {
		v.Stands = "work in progress" + prefixed("; ", v.Stands)
	}
	v.Leads = leadCells(r, v.Bad)
	for i, c := range v.Leads {
		if c.Word || c.None {
			v.Words[i] = c.Text
		}
	}
	v.numbers(r)
	if !v.At.IsZero() {
		v.Age = ago(now.Sub(v.At))
	}
	return v
}

func (v *rowView) numbers(r *Row) {
	missing, now := notVisible, r.values()
	if now.At.IsZero() {
		missing = noValue
	}
	if v.Imbalance = signedOhm(now.Imbalance); v.Imbalance == "" {
		v.Imbalance, v.NoImbalance = missing, true
	}
	v.Inferred = !v.NoImbalance && diagnostics.Observe(*r.Spec).Imbalance.Knowledge != diagnostics.Measured
	e, u, _ := counting(r)
	if v.Error, v.U = errorAndU(e, u); v.Error == "" {
		v.Error, v.NoError = missing, true
	}
	v.Share = percent(now.ShareLimit)
	v.Bar = bar(now.ShareLimit)
}

func bar(share float64) int {
	if !quantity.Known(share) {
		return 0
	}
	return int(min(math.Round(share*barLimit), barFull))
}

// leadCells says for each lead its resistance, or why there is none to show.
func leadCells(r *Row, bad finding.LeadSet) (cells [measure.LeadCount]leadCell) {
	for l := measure.A1; l <= measure.B2; l++ {
		cells[l] = leadCell{Name: l.String(), Text: noLead, None: true}
	}
	v := r.values()
	for _, l := range r.Spec.Leads() {
		c := leadCell{Name: l.String(), Text: ohm(v.Leads[l]), Bad: bad.Has(l)}
		switch {
		case c.Text == "" && visible(r.Spec.Reports, l):
			c.Text, c.Word = noValue, true
		case c.Text == "":
			c.Text, c.Word = notVisible, true
		}
		cells[l] = c
	}
	return cells
}

// visible reports whether a transmitter of this report level shows lead l by
// itself.
func visible(reports wiring.Reports, l measure.Lead) bool {
	switch reports {
	case wiring.AllLeads:
		return true
	case wiring.PairsOnly:
		return l == measure.B1 || l == measure.B2
	}
	return false
}

// add puts the moving numbers of the row into f, keyed by row and column, and
// the row itself as a block of the table body.
func (v *rowView) add(f *frame, html func() string) {
	f.block(v.ID, "rows", v.rowShape, html)
	for _, c := range v.Leads {
		if !c.Word && !c.None {
			f.texts[v.ID+"."+c.Name] = c.Text
		}
	}
	if !v.NoImbalance {
		f.texts[v.ID+".imbalance"] = v.Imbalance
	}
	if !v.NoError {
		f.texts[v.ID+".error"] = v.Error
	}
	f.texts[v.ID+".u"] = v.U
	f.texts[v.ID+".share"] = v.Share
	f.texts[v.ID+".bar"] = fmt.Sprint(v.Bar)
	if !v.At.IsZero() {
		f.at[v.ID+".age"] = v.At.Unix()
	}
}
