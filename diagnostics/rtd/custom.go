package rtd

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/quantity"
)

// CVD holds Callendar–Van Dusen coefficients of a sensor with a calibration of
// its own: R = R0 [1 + A t + B t² + C (t − 100) t³], C below 0 °C only.
type CVD struct {
	R0        quantity.Ohm
	A, B, C   float64       // 1/K, 1/K², 1/K⁴
	Low, High quantity.DegC // where the calibration holds
}

// NewCVD returns a sensor by coefficients. The curve must rise from Low to High;
// the widest range allowed is −200 to 962 °C.
func NewCVD(name string, k CVD) (Sensor, error) {
	if name == "" || !(k.R0 >= minNominal && k.R0 <= maxNominal) {
		return Sensor{}, fmt.Errorf("sensor %q: want a name and an r0 of %d to %.0f ohm", name, minNominal, float64(maxNominal))
	}
	if !(k.Low >= -200 && k.High <= 962 && k.Low < k.High && k.Low <= 0 && k.High >= 0) {
		return Sensor{}, fmt.Errorf("sensor %q: range %g to %g °C: want −200 ≤ low ≤ 0 ≤ high ≤ 962", name, float64(k.Low), float64(k.High))
	}
	c := newCurve(curve{low: float64(k.Low), high: float64(k.High), form: cvd, c: [6]float64{k.A, k.B, k.C}})
	if err := c.invertible(); err != nil {
		return Sensor{}, fmt.Errorf("sensor %q: %w", name, err)
	}
	return Sensor{name: name, r0: float64(k.R0), curve: c}, nil
}

// NewPlatinum3851 returns an IEC 60751 sensor with any resistance at 0 °C, for
// an element whose own R0 is known from its certificate.
func NewPlatinum3851(r0 quantity.Ohm) (Sensor, error) {
	if !(r0 >= minNominal && r0 <= maxNominal) {
		return Sensor{}, fmt.Errorf("platinum r0 %g: want %d to %.0f ohm", float64(r0), minNominal, float64(maxNominal))
	}
	return designations[0].sensor(float64(r0)), nil
}

// Point is one row of a table sensor.
type Point struct {
	T quantity.DegC
	R quantity.Ohm
}

// NewTable returns a sensor by a table of at least three points with rising
// temperature and resistance, joined by a monotone cubic. The curve ends at the
// table's ends. R0 is the value at 0 °C, or the first resistance where the
// table does not hold 0 °C.
func NewTable(name string, points []Point) (Sensor, error) {
	if name == "" || len(points) < 3 {
		return Sensor{}, fmt.Errorf("sensor %q: want a name and at least 3 points, got %d", name, len(points))
	}
	ts, ws := make([]float64, len(points)), make([]float64, len(points))
	for i, p := range points {
		ts[i], ws[i] = float64(p.T), float64(p.R)
		if !quantity.Known(p.T) || !quantity.Known(p.R) || p.R <= 0 || p.T < -273.15 {
			return Sensor{}, fmt.Errorf("sensor %q: point %d (%g °C, %g ohm) is not a resistance at a temperature", name, i+1, ts[i], ws[i])
		}
		if i > 0 && (ts[i] <= ts[i-1] || ws[i] <= ws[i-1]) {
			return Sensor{}, fmt.Errorf("sensor %q: point %d (%g °C, %g ohm): temperature and resistance must both rise", name, i+1, ts[i], ws[i])
		}
	}
	nodes, err := newNodes(ts, ws)
	if err != nil {
		return Sensor{}, fmt.Errorf("sensor %q: %w", name, err)
	}
	c := newCurve(curve{low: ts[0], high: ts[len(ts)-1], form: table, nodes: nodes})
	r0 := ws[0]
	if c.holds(0) {
		r0 = c.ratio(0)
	}
	for i := range c.nodes {
		c.nodes[i].w /= r0
		c.nodes[i].slope /= r0
	}
	return Sensor{name: name, r0: r0, curve: newCurve(*c)}, nil
}

// invertible checks that the curve rises and that its closed-form start exists
// over the whole range.
func (c *curve) invertible() error {
	const steps = 1000
	for i := range steps + 1 {
		t := c.low + (c.high-c.low)*float64(i)/steps
		w := c.ratio(t)
		if back := c.inverse(w, 0); !(c.slope(t) > 0) || !(math.Abs(back-t) <= 1e-6) {
			return fmt.Errorf("the curve does not rise steadily at %.4g °C; check the coefficients and their signs", t)
		}
	}
	return nil
}
