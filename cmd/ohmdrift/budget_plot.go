package main

import (
	"bytes"
	"fmt"
	"math"
	"os"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/quantity"
)

// The drawing in SVG units.
const (
	plotWidth, plotHeight       = 640.0, 400.0
	plotLeft, plotTop           = 64.0, 44.0
	plotAreaWidth, plotAreaHigh = 548.0, 296.0
)

// plotScale maps metres and °C to the drawing.
type plotScale struct{ length, err float64 }

func (s plotScale) x(m float64) float64 { return plotLeft + m/s.length*plotAreaWidth }
func (s plotScale) y(e float64) float64 { return plotTop + plotAreaHigh*(1-e/s.err) }

// writeBudgetPlot draws the size of the reading error over the length of the
// cable, with the tolerance, the part of it that is allowed, and the longest
// cable.
func writeBudgetPlot(file string, b *diagnostics.LengthBudget) error {
	r, err := b.Compute()
	if err != nil {
		return err
	}
	allowed := b.Share * float64(r.Tolerance)
	s := plotScale{err: niceCeiling(1.15 * float64(r.Tolerance))}
	s.length = niceCeiling(1.1 * max(float64(b.Length), finiteOr(float64(r.Longest), 100)/b.Share*1.1))
	var w bytes.Buffer
	fmt.Fprintf(&w, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" font-family="sans-serif" font-size="12" role="img">`+"\n", plotWidth, plotHeight)
	title := fmt.Sprintf("%s, %s, %s at %g °C, spread %s, %s", b.Conductor, b.Method, b.Sensor, float64(b.Temp), percent(b.Spread), b.SpreadOf.Formula())
	fmt.Fprintf(&w, "<title>%s</title>\n<rect width=\"100%%\" height=\"100%%\" fill=\"#ffffff\"/>\n<text x=\"%g\" y=\"24\">%s</text>\n", minus(title), plotLeft, minus(title))
	drawAxes(&w, s)
	drawLevel(&w, s, float64(r.Tolerance), "tolerance, "+r.Class.String(), "#555555")
	drawLevel(&w, s, allowed, percent(b.Share)+" of it", "#8a5a00")
	if err := drawError(&w, s, b); err != nil {
		return err
	}
	if l := float64(r.Longest); l > 0 && l <= s.length {
		fmt.Fprintf(&w, `<circle cx="%.1f" cy="%.1f" r="4" fill="#1f4e8c"/><text x="%.1f" y="%.1f">%s (%s)</text>`+"\n",
			s.x(l), s.y(allowed), s.x(l)+8, s.y(allowed)+16, metres(l), feet(l*feetPerMetre))
	}
	w.WriteString("</svg>\n")
	if err := os.WriteFile(file, w.Bytes(), 0o644); err != nil {
		return fmt.Errorf("write plot: %w", err)
	}
	return nil
}

func drawAxes(w *bytes.Buffer, s plotScale) {
	for i := range 6 {
		part := float64(i) / 5
		x, y := s.x(part*s.length), s.y(part*s.err)
		fmt.Fprintf(w, `<path d="M%.1f %g V%g M%g %.1f H%g" stroke="#dddddd"/>`, x, plotTop, plotTop+plotAreaHigh, plotLeft, y, plotLeft+plotAreaWidth)
		fmt.Fprintf(w, `<text x="%.1f" y="%g" text-anchor="middle">%.4g</text><text x="%g" y="%.1f" text-anchor="end">%.3g</text>`+"\n",
			x, plotTop+plotAreaHigh+18, part*s.length, plotLeft-8, y+4, part*s.err)
	}
	fmt.Fprintf(w, `<text x="%g" y="%g" text-anchor="middle">length, m</text><text x="12" y="%g" transform="rotate(-90 16 %g)" text-anchor="middle">reading error, °C</text>`+"\n",
		plotLeft+plotAreaWidth/2, plotHeight-14, plotTop+plotAreaHigh/2, plotTop+plotAreaHigh/2)
}

func drawLevel(w *bytes.Buffer, s plotScale, level float64, name, colour string) {
	fmt.Fprintf(w, `<path d="M%g %.1f H%g" stroke="%s" stroke-dasharray="6 4"/><text x="%g" y="%.1f" fill="%s">%s</text>`+"\n",
		plotLeft, s.y(level), plotLeft+plotAreaWidth, colour, plotLeft+6, s.y(level)-5, colour, name)
}

// drawError draws |error| over length as far as the drawing reaches; it is a
// straight line but for a fixed compensation, which makes it fall first.
func drawError(w *bytes.Buffer, s plotScale, b *diagnostics.LengthBudget) error {
	w.WriteString(`<path fill="none" stroke="#1f4e8c" stroke-width="2" d="`)
	at := *b
	const steps = 240
	verb := "M"
	for i := range steps + 1 {
		at.Length = quantity.Metre(s.length * float64(i) / steps)
		r, err := at.Compute()
		if err != nil {
			return err
		}
		e := math.Abs(float64(r.Error))
		if e > s.err {
			verb = "M"
			continue
		}
		fmt.Fprintf(w, "%s%.1f %.1f ", verb, s.x(float64(at.Length)), s.y(e))
		verb = "L"
	}
	w.WriteString("\"/>\n")
	return nil
}

// niceCeiling rounds up to 1, 2 or 5 times a power of ten.
func niceCeiling(x float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 5} {
		if x <= m*p {
			return m * p
		}
	}
	return 10 * p
}

func finiteOr(x, otherwise float64) float64 {
	if math.IsInf(x, 0) || x <= 0 {
		return otherwise
	}
	return x
}
