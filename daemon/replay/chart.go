package replay

import (
	"bytes"
	"fmt"
	"html"
	"math"
	"strings"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
)

// chart collects what the SVG shows: for every lead its contact part, smoothed
// level and threshold, below them the copper factor, and what was said when.
type chart struct {
	spec  *diagnostics.Spec
	times []time.Time
	views []drift.View
	words []word
}

type word struct {
	at   time.Time
	text string
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
	c.words = append(c.words, word{f.Time, strings.Join(append([]string{string(f.Kind)}, append(f.Leads.Names(), f.State.String())...), " "), f.Severity > finding.Info && f.State == finding.Raised})
}

// Sizes of the drawing in px.
const (
	chartWidth  = 1100
	chartLeft   = 70
	chartRight  = 20
	panelHeight = 150
	panelGap    = 40
	chartTop    = 50
	mostWords   = 40 // findings that get a mark
)

// series is one line of a panel.
type series struct {
	name   string
	style  string // SVG attributes
	values func(v *drift.View) float64
}

// panel is one small chart.
type panel struct {
	title string
	lines []series
	below string // a line of text
}

func (c *chart) panels() []panel {
	var ps []panel
	for _, l := range c.spec.Leads() {
		days, ohm := daily(c.times, c.views, l)
		ps = append(ps, panel{below: opinion(days, ohm), title: fmt.Sprintf("lead %s, contact beyond copper, Ω", l), lines: []series{
			{"block", `stroke="#8a8f98" stroke-width="1"`, func(v *drift.View) float64 { return float64(v.Contact[l]) }},
			{"level", `stroke="#1f4e79" stroke-width="2"`, func(v *drift.View) float64 { return float64(v.Level[l]) }},
			{"threshold", `stroke="#9c2f2f" stroke-width="1" stroke-dasharray="5 4"`, func(v *drift.View) float64 { return float64(v.Threshold[l]) }},
		}})
	}
	return append(ps, panel{title: "copper factor against the baseline", lines: []series{
		{"factor", `stroke="#2f6b46" stroke-width="1.5"`, func(v *drift.View) float64 { return factor(v) }},
	}})
}

// factor is the copper factor, NaN while the engine has none: no copper has 0.
func factor(v *drift.View) float64 {
	if v.Factor == 0 {
		return math.NaN()
	}
	return v.Factor
}

// svg draws everything; an empty record gives a drawing that says so.
func (c *chart) svg() []byte {
	var b bytes.Buffer
	ps := c.panels()
	height := chartTop + len(ps)*(panelHeight+panelGap) + 20*min(len(c.words), mostWords) + 30
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" font-family="sans-serif" font-size="12" fill="#222">`+"\n", chartWidth, height)
	fmt.Fprintf(&b, `<rect width="100%%" height="100%%" fill="#fff"/><text x="%d" y="24" font-size="16">%s: what the engine saw</text>`+"\n", chartLeft, html.EscapeString(c.spec.Tag))
	if len(c.times) < 2 {
		fmt.Fprintf(&b, `<text x="%d" y="44">fewer than two blocks of six hours: nothing to draw</text></svg>`+"\n", chartLeft)
		return b.Bytes()
	}
	x := c.scale()
	for i, p := range ps {
		c.drawPanel(&b, &p, x, float64(chartTop+i*(panelHeight+panelGap)))
	}
	c.drawWords(&b, x, chartTop+len(ps)*(panelHeight+panelGap))
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// scale maps time to px.
func (c *chart) scale() func(time.Time) float64 {
	from := c.times[0]
	span := c.times[len(c.times)-1].Sub(from).Seconds()
	return func(t time.Time) float64 {
		share := min(max(t.Sub(from).Seconds()/max(span, 1), 0), 1)
		return chartLeft + share*(chartWidth-chartLeft-chartRight)
	}
}

func (c *chart) drawPanel(b *bytes.Buffer, p *panel, x func(time.Time) float64, top float64) {
	low, high := c.bounds(p)
	y := func(v float64) float64 { return top + panelHeight*(high-v)/(high-low) }
	fmt.Fprintf(b, `<text x="%d" y="%.0f">%s</text><rect x="%d" y="%.0f" width="%d" height="%d" fill="none" stroke="#ccc"/>`+"\n",
		chartLeft, top-6, p.title, chartLeft, top, chartWidth-chartLeft-chartRight, panelHeight)
	for _, v := range [...]float64{low, (low + high) / 2, high} {
		fmt.Fprintf(b, `<text x="%d" y="%.1f" text-anchor="end" fill="#666">%s</text>`, chartLeft-6, y(v)+4, strings.ReplaceAll(fmt.Sprintf("%.3g", v), "-", "−"))
	}
	b.WriteByte('\n')
	for i, s := range p.lines {
		fmt.Fprintf(b, `<path fill="none" %s d="`, s.style)
		c.path(b, s.values, x, y)
		fmt.Fprintf(b, `"/><line x1="%d" x2="%d" y1="%.0f" y2="%.0f" %s/><text x="%d" y="%.0f">%s</text>`+"\n",
			chartWidth-330+110*i, chartWidth-306+110*i, top-10, top-10, s.style, chartWidth-300+110*i, top-6, s.name)
	}
	fmt.Fprintf(b, `<text x="%d" y="%.0f" fill="#666">%s</text><text x="%d" y="%.0f" text-anchor="end" fill="#666">%s</text>`+"\n",
		chartLeft, top+panelHeight+15, c.times[0].Format(time.DateOnly), chartWidth-chartRight, top+panelHeight+15, c.times[len(c.times)-1].Format(time.DateOnly))
	if p.below != "" {
		fmt.Fprintf(b, `<text x="%d" y="%.0f" font-size="10" fill="#666">%s</text>`+"\n", chartLeft+80, top+panelHeight+15, p.below)
	}
}

// path draws a line that is broken where the value is not known.
func (c *chart) path(b *bytes.Buffer, value func(*drift.View) float64, x func(time.Time) float64, y func(float64) float64) {
	pen := "M"
	for i := range c.views {
		v := value(&c.views[i])
		if math.IsNaN(v) || math.IsInf(v, 0) {
			pen = "M"
			continue
		}
		fmt.Fprintf(b, "%s%.1f %.1f", pen, x(c.times[i]), y(v))
		pen = "L"
	}
}

// bounds are what the vertical axis shows, never empty.
func (c *chart) bounds(p *panel) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, s := range p.lines {
		for i := range c.views {
			if v := s.values(&c.views[i]); !math.IsNaN(v) && !math.IsInf(v, 0) {
				low, high = min(low, v), max(high, v)
			}
		}
	}
	if low > high {
		return 0, 1
	}
	pad := max(0.05*(high-low), 0.001)
	return low - pad, high + pad
}

// drawWords marks findings across the panels and lists them below.
func (c *chart) drawWords(b *bytes.Buffer, x func(time.Time) float64, top int) {
	for i, w := range c.words {
		colour := "#1f4e79"
		if w.bad {
			colour = "#9c2f2f"
		}
		if i == mostWords {
			fmt.Fprintf(b, `<text x="%d" y="%d">… and %d more, in the CSV</text>`+"\n", chartLeft, top+20*i+10, len(c.words)-mostWords)
			return
		}
		fmt.Fprintf(b, `<line x1="%.1f" x2="%.1f" y1="%d" y2="%d" stroke="%s" stroke-dasharray="2 3"/><text x="%.1f" y="%d" font-size="10" fill="%s">%d</text>`+"\n",
			x(w.at), x(w.at), chartTop, top-panelGap, colour, x(w.at)+2, chartTop+10+12*(i%10), colour, i+1)
		fmt.Fprintf(b, `<text x="%d" y="%d" fill="%s">%d  %s  %s</text>`+"\n", chartLeft, top+20*i+10, colour, i+1, w.at.UTC().Format("2006-01-02 15:04"), html.EscapeString(w.text))
	}
}
