package drift

import (
	"math"
	"slices"

	"ohmdrift/diagnostics/drift/stat"
)

// pairing is what is followed of the difference between two loops of a place.
type pairing struct {
	A, B  int32                  // numbers within the place
	D     [slotsPerBlock]float32 // reading of A less that of B in the running block, °C
	T     [slotsPerBlock]float32 // their mean, °C
	N     int32
	Block int64

	Line     stat.Line // of the difference on temperature, in the baseline
	Scale    float64   // mean absolute residual of a block there, °C
	Low, Top float64   // temperatures of the baseline, °C
	Blocks   int32     // of the baseline
	U        [partnerRing]float32
	Have     int32
	Idle     int32   // blocks in a row that said nothing
	At       float64 // temperature of the newest block, °C
}

// closeBlock ends the running block of every pair and tells of which loops
// something is to be judged: news, or silence for as long as a level lasts.
func (m *place) closeBlock(next int64) (judge [placeMost]bool) {
	for i := range m.pairs {
		q := &m.pairs[i]
		n := q.N
		q.N, q.Block = 0, next
		if n < partnerLeast {
			if q.Idle = min(q.Idle+1, partnerRing); q.Idle == partnerRing && q.Have > 0 {
				q.Have, judge[q.A], judge[q.B] = 0, true, true
			}
			continue
		}
		q.Idle = 0
		d, t := median32(q.D[:n]), median32(q.T[:n])
		if q.Blocks < partnerLearn {
			q.learn(d, t)
			continue
		}
		copy(q.U[:], q.U[1:])
		q.U[partnerRing-1], q.At = float32(d-q.line(t)), t
		q.Have = min(q.Have+1, partnerRing)
		judge[q.A], judge[q.B] = true, true
	}
	return judge
}

// line returns the difference that the baseline has at temperature t, °C.
func (q *pairing) line(t float64) float64 {
	l := &q.Line
	if l.W == 0 {
		return 0
	}
	b := (l.XY - l.X*l.Y/l.W) / (l.XX - l.X*l.X/l.W + partnerPrior)
	return l.Y/l.W + b*(t-l.X/l.W)
}

// learn takes a block into the baseline.
func (q *pairing) learn(d, t float64) {
	if q.Blocks == 0 {
		q.Low, q.Top = t, t
	}
	if q.Blocks > 4 { // from then on there is something to be away from
		q.Scale += (math.Abs(d-q.line(t)) - q.Scale) / float64(q.Blocks-4)
	}
	q.Low, q.Top = min(q.Low, t), max(q.Top, t)
	q.Line.Add(t, d, 1)
	q.Blocks++
}

// worth returns what two sound loops may part by, °C.
func (q *pairing) worth() float64 {
	away := max(0, q.Low-q.At, q.At-q.Top)
	return max(partnerDrift+partnerSlope*away, partnerScale*q.Scale)
}

// level returns the median of the blocks of two days; NaN for fewer than half.
func (q *pairing) level() float64 {
	if q.Have*2 < partnerRing {
		return nan
	}
	return median32(q.U[partnerRing-q.Have:])
}

// parted returns by how much a loop has moved against the others, °C: the middle
// of what each of them says, and nothing where the middle two do not agree on the
// side. With it come the largest scatter and what sound loops may part by.
func (m *place) parted(k int) (level, worth, scale float64) {
	var x [placeMost]float64
	n := 0
	for i := range m.pairs {
		q := &m.pairs[i]
		v := q.level()
		switch int32(k) {
		case q.B:
			v = -v
		case q.A:
		default:
			continue
		}
		if !math.IsNaN(v) {
			x[n] = v
			n++
			worth, scale = max(worth, q.worth()), max(scale, q.Scale)
		}
	}
	if n == 0 {
		return nan, worth, scale
	}
	slices.Sort(x[:n])
	a, b := x[(n-1)/2], x[n/2]
	switch {
	case a > 0:
		return a, worth, scale
	case b < 0:
		return b, worth, scale
	}
	return 0, worth, scale
}
