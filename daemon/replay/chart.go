package replay

import (
	"bytes"
	"fmt"
	"html"
	"strings"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
)

// chart collects what the SVG shows: for every lead its contact part, smoothed
// level and threshold; below them what else can raise a finding (movement within
// days, noise, excursions) and the copper factor; then what was said when.
type chart struct {
	spec  *diagnostics.Spec
	times []time.Time
	views []drift.View
	words []word
}

type word struct {
	at   time.Time
	text string
	why  string
	bad  bool
}

func (c *chart) block(s *Seen) {
	c.times = append(c.times, s.View.Block)
	c.views = append(c.views, s.View)
}

func (c *chart) said(f *finding.Finding) {
	if f.State == finding.Updated {
		return
	}
	c.words = append(c.words, word{
		at: f.Time, why: f.Evidence, bad: f.Severity > finding.Info && f.State == finding.Raised,
		text: strings.Join(append([]string{string(f.Kind)}, append(f.Leads.Names(), f.State.String(), f.Severity.String())...), " "),
	})
}

// Sizes of the drawing in px.
const (
	chartWidth  = 1100
	chartLeft   = 70
	chartRight  = 20
	panelHeight = 150
	panelGap    = 58
	chartTop    = 112
	mostWords   = 40  // findings that get a mark
	whyWidth    = 165 // characters of evidence in a line
)

// key explains the drawing to whoever sees the first of them.
var key = []string{
	"Contact: what a lead has beyond the copper factor that all leads share and beyond its own baseline. Block: median of six hours. Level: median of two days.",
	"A contact is called bad when its level has stood above the threshold for a day; the rule behind each threshold is in the CSV. A young baseline has a higher one.",
	"The small line under a lead is a second opinion that decides nothing: textbook statistics take days for independent, which contacts are not, and speak early.",
	"Scales of resistances and counts are logarithmic (those of contacts linear up to the threshold), so that a small beginning and a large end are both seen.",
}

func (c *chart) panels() []panel {
	var ps []panel
	milli := func(x float64) float64 { return 1e3 * x }
	for _, l := range c.spec.Leads() {
		days, ohm := daily(c.times, c.views, l)
		ps = append(ps, panel{below: opinion(days, ohm), title: fmt.Sprintf("lead %s: contact beyond copper, mΩ", l), bend: c.threshold(l), lines: []series{
			{"block", `stroke="#8a8f98" stroke-width="1"`, func(v *drift.View) float64 { return milli(float64(v.Contact[l])) }},
			{"level", `stroke="#1f4e79" stroke-width="2"`, func(v *drift.View) float64 { return milli(float64(v.Level[l])) }},
			{"threshold", `stroke="#9c2f2f" stroke-width="1" stroke-dasharray="5 4"`, func(v *drift.View) float64 { return milli(float64(v.Threshold[l])) }},
		}})
	}
	each := func(title string, bend float64, value func(v *drift.View, l measure.Lead) float64) {
		p := panel{title: title, bend: bend}
		for _, l := range c.spec.Leads() {
			p.lines = append(p.lines, series{l.String(), leadStyle[l], func(v *drift.View) float64 { return value(v, l) }})
		}
		ps = append(ps, p)
	}
	each("movement within days, copper taken off: standard deviation, mΩ", 1, func(v *drift.View, l measure.Lead) float64 { return milli(v.Swing[l]) })
	each("noise of single values: standard deviation, mΩ", 1, func(v *drift.View, l measure.Lead) float64 { return milli(float64(v.Noise[l])) })
	each("short rises that returned within two polls, about ten days", 3, func(v *drift.View, l measure.Lead) float64 { return v.Spikes[l] })
	return append(ps, panel{title: "copper factor against the baseline (0.393 % a kelvin)", lines: []series{
		{"factor", `stroke="#2f6b46" stroke-width="1.5"`, factor},
	}})
}

// leadStyle draws a lead where several share a panel: side a blue, side b red,
// the second lead of a side dashed, so that it can be told without colours.
var leadStyle = [measure.LeadCount]string{
	`stroke="#1f4e79" stroke-width="1.5"`, `stroke="#1f4e79" stroke-width="1.5" stroke-dasharray="4 3"`,
	`stroke="#9c2f2f" stroke-width="1.5"`, `stroke="#9c2f2f" stroke-width="1.5" stroke-dasharray="4 3"`,
}

// threshold returns the newest threshold of a lead in mΩ, 0 where none is known.
func (c *chart) threshold(l measure.Lead) float64 {
	for i := len(c.views) - 1; i >= 0; i-- {
		if x := 1e3 * float64(c.views[i].Threshold[l]); x > 0 {
			return x
		}
	}
	return 0
}

// svg draws everything; an empty record gives a drawing that says so.
func (c *chart) svg() []byte {
	var b, words bytes.Buffer
	ps := c.panels()
	below := chartTop + len(ps)*(panelHeight+panelGap)
	x := c.scale()
	height := c.drawWords(&words, x, below) + 30
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" font-family="sans-serif" font-size="12" fill="#222">`+"\n", chartWidth, height)
	fmt.Fprintf(&b, `<rect width="100%%" height="100%%" fill="#fff"/><text x="%d" y="24" font-size="16">%s: what the engine saw</text>`+"\n", chartLeft, html.EscapeString(c.spec.Tag))
	if len(c.times) < 2 {
		fmt.Fprintf(&b, `<text x="%d" y="44">fewer than two blocks of six hours: nothing to draw</text></svg>`+"\n", chartLeft)
		return b.Bytes()
	}
	for i, t := range key {
		fmt.Fprintf(&b, `<text x="%d" y="%d" font-size="11" fill="#555">%s</text>`+"\n", chartLeft, 42+14*i, t)
	}
	for i, p := range ps {
		c.drawPanel(&b, &p, x, float64(chartTop+i*(panelHeight+panelGap)))
	}
	b.Write(words.Bytes())
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// drawWords marks findings across the panels and lists them below with what was
// said; it returns where the list ends.
func (c *chart) drawWords(b *bytes.Buffer, x func(time.Time) float64, top int) int {
	y := top + 10
	for i, w := range c.words {
		colour := "#1f4e79"
		if w.bad {
			colour = "#9c2f2f"
		}
		if i == mostWords {
			fmt.Fprintf(b, `<text x="%d" y="%d">… and %d more, in the CSV</text>`+"\n", chartLeft, y, len(c.words)-mostWords)
			return y + 20
		}
		fmt.Fprintf(b, `<line x1="%.1f" x2="%.1f" y1="%d" y2="%d" stroke="%s" stroke-dasharray="2 3"/><text x="%.1f" y="%d" font-size="10" fill="%s">%d</text>`+"\n",
			x(w.at), x(w.at), chartTop, top-panelGap, colour, x(w.at)+2, chartTop+10+12*(i%10), colour, i+1)
		fmt.Fprintf(b, `<text x="%d" y="%d" fill="%s">%d  %s  %s</text>`+"\n", chartLeft, y, colour, i+1, w.at.UTC().Format("2006-01-02 15:04Z"), html.EscapeString(w.text))
		for _, line := range wrap(w.why, whyWidth) {
			y += 15
			fmt.Fprintf(b, `<text x="%d" y="%d" font-size="11" fill="#444">%s</text>`+"\n", chartLeft+16, y, html.EscapeString(line))
		}
		y += 22
	}
	return y
}

// wrap breaks a sentence between words into lines of at most so many characters.
func wrap(s string, most int) (lines []string) {
	line, n := "", 0
	for _, w := range strings.Fields(s) {
		k := len([]rune(w))
		if n > 0 && n+1+k > most {
			lines, line, n = append(lines, line), "", 0
		}
		if n > 0 {
			line, n = line+" ", n+1
		}
		line, n = line+w, n+k
	}
	if n > 0 {
		lines = append(lines, line)
	}
	return lines
}
