package replay

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"time"

	"ohmdrift/diagnostics/drift"
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
	bend  float64 // the scale is linear to here and logarithmic beyond; 0 = linear
	below string  // a line of text
}

// factor is the copper factor, NaN while the engine has none: no copper has 0.
func factor(v *drift.View) float64 {
	if v.Factor == 0 {
		return math.NaN()
	}
	return v.Factor
}

// scale maps time to px.
func (c *chart) scale() func(time.Time) float64 {
	if len(c.times) == 0 {
		return func(time.Time) float64 { return chartLeft }
	}
	from := c.times[0]
	span := c.times[len(c.times)-1].Sub(from).Seconds()
	return func(t time.Time) float64 {
		share := min(max(t.Sub(from).Seconds()/max(span, 1), 0), 1)
		return chartLeft + share*(chartWidth-chartLeft-chartRight)
	}
}

// height maps a value to where it stands in a panel of no unit.
func (p *panel) height(v float64) float64 {
	if p.bend > 0 {
		return math.Asinh(v / p.bend)
	}
	return v
}

func (c *chart) drawPanel(b *bytes.Buffer, p *panel, x func(time.Time) float64, top float64) {
	low, high := c.bounds(p)
	lo, hi := p.height(low), p.height(high)
	pad := max(0.05*(hi-lo), 0.001) // never empty
	lo, hi = lo-pad, hi+pad
	y := func(v float64) float64 { return top + panelHeight*(hi-p.height(v))/(hi-lo) }
	fmt.Fprintf(b, `<text x="%d" y="%.0f">%s</text><rect x="%d" y="%.0f" width="%d" height="%d" fill="none" stroke="#ccc"/>`+"\n",
		chartLeft, top-6, p.title, chartLeft, top, chartWidth-chartLeft-chartRight, panelHeight)
	for _, v := range p.ticks(low, high, y) {
		fmt.Fprintf(b, `<line x1="%d" x2="%d" y1="%.1f" y2="%.1f" stroke="#eee"/><text x="%d" y="%.1f" text-anchor="end" fill="#666">%s</text>`,
			chartLeft, chartWidth-chartRight, y(v), y(v), chartLeft-6, y(v)+4, strings.ReplaceAll(fmt.Sprintf("%.4g", v), "-", "−"))
	}
	b.WriteByte('\n')
	c.drawDates(b, x, top)
	for i, s := range p.lines {
		fmt.Fprintf(b, `<path fill="none" %s d="`, s.style)
		c.path(b, s.values, x, y)
		at := chartWidth - chartRight - 110*(len(p.lines)-i)
		fmt.Fprintf(b, `"/><line x1="%d" x2="%d" y1="%.0f" y2="%.0f" %s/><text x="%d" y="%.0f">%s</text>`+"\n",
			at, at+24, top-10, top-10, s.style, at+30, top-6, s.name)
	}
	if p.below != "" {
		fmt.Fprintf(b, `<text x="%d" y="%.0f" font-size="10" fill="#666">%s</text>`+"\n", chartLeft, top+panelHeight+28, p.below)
	}
}

// tickApart is how far ticks of an axis must be apart, px.
const tickApart = 16

// ticks returns values to be written at the vertical axis. A bent one has 0 and
// 1, 3, 10, 30 … to both sides; a straight one its ends and its middle.
func (p *panel) ticks(low, high float64, y func(float64) float64) []float64 {
	if p.bend == 0 {
		return []float64{low, (low + high) / 2, high}
	}
	var t []float64
	if low <= 0 && high >= 0 {
		t = append(t, 0)
	}
	for _, sign := range [...]float64{1, -1} {
		last := 0.0
		for d := 1.0; d < 1e7; d *= 10 {
			for _, v := range [...]float64{sign * d, sign * 3 * d} {
				if v >= low && v <= high && math.Abs(y(v)-y(last)) >= tickApart {
					t, last = append(t, v), v
				}
			}
		}
	}
	return t
}

// datesApart is how far dates must be apart, px.
const datesApart = 84

// drawDates marks the beginning, and months or weeks after it.
func (c *chart) drawDates(b *bytes.Buffer, x func(time.Time) float64, top float64) {
	from, until := c.times[0].UTC(), c.times[len(c.times)-1]
	next := func(t time.Time) time.Time { return time.Date(t.Year(), t.Month()+1, 1, 0, 0, 0, 0, time.UTC) }
	if until.Sub(from) < 45*24*time.Hour {
		next = func(t time.Time) time.Time { return t.Truncate(24*time.Hour).AddDate(0, 0, 1) }
	}
	last := math.Inf(-1)
	for t := from; !t.After(until); t = next(t) {
		if x(t)-last < datesApart {
			continue
		}
		last = x(t)
		anchor := "middle"
		if t.Equal(from) {
			anchor = "start"
		}
		fmt.Fprintf(b, `<line x1="%.1f" x2="%.1f" y1="%.0f" y2="%.0f" stroke="#eee"/><text x="%.1f" y="%.0f" text-anchor="%s" fill="#666">%s</text>`,
			last, last, top, top+panelHeight, last, top+panelHeight+15, anchor, t.Format(time.DateOnly))
	}
	b.WriteByte('\n')
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

// bounds are the lowest and the highest value of a panel.
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
	return low, high
}
