package devices

import "time"

// staleness keeps, on serial frames, the requests whose answers may still come.
// Such frames carry no transaction id: unit, function and length are all that
// tells answers apart. A request is therefore sent only with a length that no
// late answer of its unit has. Lines and gateways answer in order, so the
// answer to a request that could not be mistaken clears all that came before.
//
// The zero value is ready; nothing is allocated until something goes wrong.
type staleness struct {
	turn  [256]uint8 // varies the length from request to request
	units map[uint8]*doubt
}

// doubt is what one unit still owes.
type doubt struct {
	owed    []owed
	noPiece bool // the unit does not answer pieces of a block
}

type owed struct {
	fn    uint8
	count uint16
	until time.Time // after this it will not come any more
}

// doubtful reports whether an answer of unit may still come.
func (s *staleness) doubtful(unit uint8) bool {
	return s.units[unit] != nil && len(s.units[unit].owed) > 0
}

// unanswered adds a request that got no answer.
func (s *staleness) unanswered(unit, fn uint8, count uint16, until time.Time) {
	if s.units == nil {
		s.units = map[uint8]*doubt{}
	}
	d := s.units[unit]
	if d == nil {
		d = &doubt{}
		s.units[unit] = d
	}
	for i := range d.owed {
		if o := &d.owed[i]; o.fn == fn && o.count == count {
			o.until = until
			return
		}
	}
	d.owed = append(d.owed, owed{fn, count, until})
}

// stray takes a frame that answered nothing in flight. If it was owed, the debt
// is paid. If not, it came twice or an answer before it was taken wrongly: the
// next request must be told apart as if it were still to come.
func (s *staleness) stray(unit, fn uint8, count uint16, until time.Time) {
	fn &= 0x7F
	if d := s.units[unit]; d != nil {
		for i, o := range d.owed {
			if o.fn == fn && o.count == count {
				d.owed = append(d.owed[:i], d.owed[i+1:]...)
				return
			}
		}
	}
	s.unanswered(unit, fn, count, until)
}

// answered clears the unit: its answer to a request that could not be mistaken
// has come.
func (s *staleness) answered(unit uint8) {
	if d := s.units[unit]; d != nil {
		d.owed = d.owed[:0]
	}
}

func (s *staleness) noPiece(unit uint8) {
	if d := s.units[unit]; d != nil {
		d.noPiece = true
	}
}

// pick returns a length from count to most that no late answer has. Debts past
// their time are forgotten here.
func (s *staleness) pick(unit, fn uint8, count, most uint16, now time.Time) (uint16, bool) {
	d := s.units[unit]
	if d != nil {
		kept := d.owed[:0]
		for _, o := range d.owed {
			if now.Before(o.until) {
				kept = append(kept, o)
			}
		}
		d.owed = kept
	}
	span := min(most-count, spread) + 1
	s.turn[unit]++
	for i := range span {
		n := count + (uint16(s.turn[unit])+i)%span
		if !d.owes(fn, n) {
			return n, true
		}
	}
	return 0, false
}

// piece returns a shorter length, below count, that no late answer has.
func (s *staleness) piece(unit, fn uint8, count uint16) (uint16, bool) {
	d := s.units[unit]
	if d == nil || d.noPiece {
		return 0, false
	}
	for n := uint16(1); n < count; n++ {
		if !d.owes(fn, n) {
			return n, true
		}
	}
	return 0, false
}

func (d *doubt) owes(fn uint8, count uint16) bool {
	if d == nil {
		return false
	}
	for _, o := range d.owed {
		if o.fn == fn && o.count == count {
			return true
		}
	}
	return false
}
