package rtd

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/interp"
)

// node is one printed point of a table and the slope of the monotone cubic
// there.
type node struct{ t, w, slope float64 }

// newNodes fits the monotone cubic of Fritsch and Butland (1984) through the
// points: it keeps a rising table rising, which a plain spline does not, and
// linear interpolation across a table's 50 °C steps can be 1 Ω away.
func newNodes(ts, ws []float64) ([]node, error) {
	var p interp.FritschButland
	if err := p.Fit(ts, ws); err != nil {
		return nil, fmt.Errorf("fit table: %w", err)
	}
	nodes := make([]node, len(ts))
	for i := range ts {
		nodes[i] = node{ts[i], ws[i], p.PredictDerivative(ts[i])}
	}
	return nodes, nil
}

// span returns the index of the interval that holds t.
func (c *curve) span(t float64) int {
	i := sort.Search(len(c.nodes), func(i int) bool { return c.nodes[i].t > t }) - 1
	return min(max(i, 0), len(c.nodes)-2)
}

func (c *curve) tableRatio(t float64) float64 {
	i := c.span(t)
	w, _ := hermite(c.nodes[i], c.nodes[i+1], t)
	return w
}

func (c *curve) tableSlope(t float64) float64 {
	i := c.span(t)
	_, s := hermite(c.nodes[i], c.nodes[i+1], t)
	return s
}

// hermite evaluates the cubic between two nodes and its slope.
func hermite(a, b node, t float64) (w, slope float64) {
	h := b.t - a.t
	x := (t - a.t) / h
	secant := (b.w - a.w) / h
	c2 := 3*secant - 2*a.slope - b.slope
	c3 := a.slope + b.slope - 2*secant
	w = a.w + h*x*(a.slope+x*(c2+x*c3))
	slope = a.slope + x*(2*c2+3*x*c3)
	return w, slope
}

// inverseTable solves the cubic of the interval by Newton steps that fall back
// to halving when they would leave the bracket.
func (c *curve) inverseTable(w float64) float64 {
	i := sort.Search(len(c.nodes), func(i int) bool { return c.nodes[i].w > w }) - 1
	i = min(max(i, 0), len(c.nodes)-2)
	a, b := c.nodes[i], c.nodes[i+1]
	lo, hi := a.t, b.t
	t := lo + (hi-lo)*(w-a.w)/(b.w-a.w)
	for range 60 {
		v, s := hermite(a, b, t)
		if v > w {
			hi = t
		} else {
			lo = t
		}
		next := t - (v-w)/s
		if !(next >= lo && next <= hi) { // also when the slope is 0
			next = (lo + hi) / 2
		}
		if math.Abs(next-t) <= 1e-13*(1+math.Abs(t)) {
			return next
		}
		t = next
	}
	return t
}
