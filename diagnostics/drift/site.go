package drift

import (
	"math"
	"slices"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
)

// Site joins the loops of a plant: what neighbours say about the copper,
// boxes whose loops go bad together, and sensors at the same place that part. Between two marks every loop may be stepped
// in any order, by any goroutine; at the mark one goroutine puts every loop's
// values and calls Mark.
type Site struct {
	loops []*diagnostics.Spec
	put   []Published
	said  []Neighbour
	boxes []box
	buf   []float64 // scratch

	groups   []group
	places   []place
	gone     []int   // scratch: bad loops of a group
	last     int64   // newest mark, s
	faults   float64 // loops that went bad by themselves
	followed float64 // loop-seconds in which they could be seen to
	wasBad   []int64 // last mark at which a loop was bad, s
}

// box is an enclosure with the loops in it.
type box struct {
	members []int
}

// boxMost is how many loops of one box are joined; a larger enclosure is a
// cabinet, whose loops share little.
const boxMost = 64

// NewSite returns the plant level for loops with the given specifications; the
// index of a loop is its number in every other call.
func NewSite(loops []*diagnostics.Spec) *Site {
	s := &Site{loops: loops, put: make([]Published, len(loops)), said: make([]Neighbour, len(loops)), groups: groupsOf(loops), places: placesOf(loops), wasBad: make([]int64, len(loops))}
	index := map[string]int{}
	for i, l := range loops {
		s.put[i] = Published{Factor: math.NaN(), Reading: quantity.DegC(math.NaN())}
		if l.Box == "" {
			continue
		}
		key := l.Site + "\x00" + l.Area + "\x00" + l.Box
		b, ok := index[key]
		if !ok {
			b = len(s.boxes)
			index[key] = b
			s.boxes = append(s.boxes, box{})
		}
		if len(s.boxes[b].members) < boxMost {
			s.boxes[b].members = append(s.boxes[b].members, i)
		}
	}
	return s
}

// Redescribe takes the specifications of the same loops at the same places anew:
// limits, methods and what is reported may have changed.
func (s *Site) Redescribe(loops []*diagnostics.Spec) { s.loops = loops }

// Put takes what one loop publishes at the coming mark. A loop that is not put
// keeps its last values.
func (s *Site) Put(loop int, p Published) { s.put[loop] = p }

// Mark closes the interval that ends at at: neighbour values become those of
// the values put, and findings about boxes, cables, cabinets and partners are
// appended to out. A mark that is not after the last one is ignored.
func (s *Site) Mark(at time.Time, out []finding.Finding) []finding.Finding {
	if at.Unix() <= s.last {
		return out
	}
	s.count(at.Unix(), s.last)
	s.last = at.Unix()
	for i := range s.boxes {
		s.neighbours(s.boxes[i].members)
	}
	return s.compare(at, s.together(at, out))
}

// neighbours tells each loop of a box the median factor of the others.
func (s *Site) neighbours(members []int) {
	s.buf = s.buf[:0]
	for _, m := range members {
		if f := s.put[m].Factor; !math.IsNaN(f) {
			s.buf = append(s.buf, f)
		}
	}
	slices.Sort(s.buf)
	for _, m := range members {
		own, ok := slices.BinarySearch(s.buf, s.put[m].Factor)
		if !ok {
			own = len(s.buf) // not known: all are others
		}
		s.said[m] = medianWithout(s.buf, own)
	}
}

// medianWithout returns the median of sorted factors but the one at own.
func medianWithout(sorted []float64, own int) Neighbour {
	n := len(sorted)
	if own < n {
		n--
	}
	if n == 0 {
		return Neighbour{}
	}
	at := func(i int) float64 {
		if i >= own {
			i++
		}
		return sorted[i]
	}
	return Neighbour{Loops: n, Factor: (at((n-1)/2) + at(n/2)) / 2}
}

// Neighbour returns what the neighbours of a loop say as of the last mark. The
// pointer stays valid; what it points to changes with each mark.
func (s *Site) Neighbour(loop int) *Neighbour { return &s.said[loop] }
