package history

import (
	"math"

	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/storage"

	"ohmdrift/diagnostics/measure"
)

// The label names of a series.
const (
	loopLabel     = "loop"
	quantityLabel = "quantity"
	gridLabel     = "grid"
)

// loop is where one loop's quantities go. Only the owner goroutine touches the
// series.
type loop struct {
	tag        string
	resolution Resolution
	epoch      int // of the database that the references point into
	series     [quantities]series
}

type series struct {
	grid grid
	last form    // form of the newest number
	at   int64   // its time, ms
	x    float64 // itself
	some bool    // there is one
	ref  [forms]storage.SeriesRef
	name [forms]labels.Labels // made at first use
}

func newLoop(l Loop) *loop {
	n := &loop{tag: l.Tag, resolution: l.Resolution}
	n.resolution[Quality] = 1
	for q := range n.series {
		n.series[q].grid = newGrid(n.resolution[q])
	}
	n.resolution = l.Resolution // as given: SetLoops compares it
	return n
}

func (l *loop) labels(q Quantity, f form) labels.Labels {
	s := &l.series[q]
	if s.name[f].IsEmpty() {
		s.name[f] = labels.FromStrings(gridLabel, s.grid.label(f), loopLabel, l.tag, quantityLabel, q.String())
	}
	return s.name[f]
}

// enter drops the references into an earlier database: there they name other
// series, and the database believes them.
func (l *loop) enter(epoch int) {
	if l.epoch == epoch {
		return
	}
	l.epoch = epoch
	for q := range l.series {
		l.series[q].ref, l.series[q].some = [forms]storage.SeriesRef{}, false
	}
}

// tally is what happened to the values of some samples.
type tally struct {
	values  uint64
	offGrid uint64
	refused uint64
	why     error // of a refused value
}

// write appends the quantities of s that are there. An error of one value
// stops no other.
func (l *loop) write(app storage.Appender, s *measure.Sample, sum *tally) {
	var v [quantities]float64
	unpack(s, &v)
	at := s.At.UnixMilli()
	for q, x := range v {
		if math.IsNaN(x) {
			continue
		}
		l.writeValue(app, Quantity(q), at, x, sum)
	}
}

func (l *loop) writeValue(app storage.Appender, q Quantity, at int64, x float64, sum *tally) {
	s := &l.series[q]
	if s.some && s.at == at { // the database would not say so within one transaction
		if math.Float64bits(s.x) != math.Float64bits(x) {
			sum.refused++
			sum.why = storage.ErrDuplicateSampleForTimestamp
		}
		return
	}
	n, f := s.grid.encode(x, s.last)
	if f != raw {
		s.last = f
	} else if s.grid.step > 0 {
		sum.offGrid++
	}
	ref, err := app.Append(s.ref[f], l.labels(q, f), at, n)
	if err != nil {
		sum.refused++
		sum.why = err
		return
	}
	s.ref[f], s.at, s.x, s.some = ref, at, x, true
	sum.values++
}
