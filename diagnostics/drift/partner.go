package drift

import (
	"fmt"
	"math"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// Partners: loops whose sensors sit at the same place. What a transmitter does
// not report (lead a1 of pairs, the leads of a sum, a shunt across the element, an
// element that drifts) moves its reading away from that of its partner. Readings
// are compared at moments at which both stand still, less the error that the
// leads are seen to make; the difference that belongs to the two (class, place,
// what it grows by with temperature) is learnt in three weeks. Of two it cannot
// be told which one moved; where the leads of one are seen it is more likely the
// other, which has more that can move. Of three and more it is the one that leaves
// the others.
const (
	// partnerSteady is how little a reading may move from one slot to the next that
	// has one (at most an hour later) to count, °C: at
	// 0.5 K in ten minutes two thermowells whose time constants lie two minutes
	// apart (common practice) differ by 0.1 K.
	partnerSteady = 0.5
	// partnerLeast is how many such moments make a block of six hours.
	partnerLeast = 6
	// partnerLearn is how many blocks are learnt: three weeks, as with leads.
	partnerLearn = 84
	// partnerRing is how many blocks a level is the median of: two days.
	partnerRing = 8
	// partnerDrift is what two sound elements and inputs may part by in a year,
	// °C: 0.05 K each (common practice for Pt100 in use).
	partnerDrift = 0.1
	// partnerScale times the mean absolute residual of a block in the baseline is
	// a threshold, too.
	partnerScale = 5
	// partnerShare of the loop's limit: below, nobody acts.
	partnerShare = 0.3
	// partnerSlope: at temperatures that the baseline has not seen, two elements of
	// class A may part by so much more a kelvin (IEC 60751: 0.002·|t| each).
	partnerSlope = 0.004
	// partnerPrior is the spread (sum of squares, K²) that holds the learnt slope
	// near nothing while the temperature has not moved: ten blocks 5 K away.
	partnerPrior = 250
	// partnerConfirm and partnerGone are how many blocks a level must stand above
	// its threshold, and below two thirds of it: a day, three days.
	partnerConfirm, partnerGone = 4, 12
	// partnerMoved is the change of a level that is worth an update.
	partnerMoved = 0.25
)

// partner is what is followed of one of the loops of a place. It has fixed-size
// fields only, as pairing has.
type partner struct {
	Loop   int32
	Last   float64 // reading at the newest slot, °C
	LastAt int64   // that slot, s; 0 = none
	Anew   int64   // work that the baseline is later than, s

	Above, Sound int32 // blocks in a row
	Since        int64 // since when it stands above its threshold
	Standing     bool
	Severity     uint8
	Raised, Told int64
	Said         float64 // level that was told, °C
}

// place is loops whose sensors sit together.
type place struct {
	loops []partner
	pairs []pairing
}

// placeMost is how many loops of one place are compared, each with each.
const placeMost = 8

// placesOf returns the loops that name each other as partners, directly or over
// others.
func placesOf(loops []*diagnostics.Spec) []place {
	number := map[string]int{}
	for i, l := range loops {
		number[l.Tag] = i
	}
	root := make([]int, len(loops))
	for i := range root {
		root[i] = i
	}
	find := func(i int) int {
		for root[i] != i {
			i = root[i]
		}
		return i
	}
	for i, l := range loops {
		if j, ok := number[l.Partner]; ok && l.Partner != "" {
			a, b := find(i), find(j)
			root[max(a, b)] = min(a, b)
		}
	}
	members := map[int][]partner{}
	for i := range loops {
		if m := members[find(i)]; len(m) < placeMost {
			members[find(i)] = append(m, partner{Loop: int32(i)})
		}
	}
	var places []place
	for i := range loops {
		if m := members[i]; len(m) > 1 {
			places = append(places, newPlace(m))
		}
	}
	return places
}

func newPlace(m []partner) place {
	p := place{loops: m}
	for b := range m {
		for a := range b {
			p.pairs = append(p.pairs, pairing{A: int32(a), B: int32(b)})
		}
	}
	return p
}

// compare takes the readings of a mark.
func (s *Site) compare(at time.Time, out []finding.Finding) []finding.Finding {
	for i := range s.places {
		m := &s.places[i]
		newest := int64(0)
		for k := range m.loops {
			newest = max(newest, unixOf(s.put[m.loops[k].Loop].ReadAt))
			out = s.anew(m, k, at, out)
		}
		if b := newest / blockS; b != m.pairs[0].Block {
			judge := m.closeBlock(b)
			for k := range m.loops {
				if judge[k] {
					out = s.judgePartner(m, k, at, out)
				}
			}
		}
		s.moment(m, newest)
	}
	return out
}

func timeOf(unix int64) time.Time {
	if unix == 0 {
		return time.Time{}
	}
	return time.Unix(unix, 0).UTC()
}

func unixOf(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.Unix()
}

// moment adds the readings of the newest slot of those loops that stand still.
func (s *Site) moment(m *place, newest int64) {
	var still [placeMost]bool
	for k := range m.loops {
		p, put := &m.loops[k], &s.put[m.loops[k].Loop]
		at, r := unixOf(put.ReadAt), float64(put.Reading)
		if at == p.LastAt {
			continue
		}
		still[k] = at == newest && at-p.LastAt <= hourS && math.Abs(r-p.Last) < partnerSteady
		p.Last, p.LastAt = r, at
	}
	for i := range m.pairs {
		q := &m.pairs[i]
		if still[q.A] && still[q.B] && q.N < slotsPerBlock {
			a, b := m.loops[q.A].Last, m.loops[q.B].Last
			q.D[q.N], q.T[q.N] = float32(a-b), float32((a+b)/2)
			q.N++
		}
	}
}

// anew begins the baseline of a loop's differences again when it was worked on,
// and takes back what stood on it.
func (s *Site) anew(m *place, k int, at time.Time, out []finding.Finding) []finding.Finding {
	p := &m.loops[k]
	t := unixOf(s.put[p.Loop].Anew)
	if t == p.Anew {
		return out
	}
	p.Anew = t
	for i := range m.pairs {
		if q := &m.pairs[i]; q.A == int32(k) || q.B == int32(k) {
			*q = pairing{A: q.A, B: q.B, Block: q.Block}
		}
	}
	for j := range m.loops { // of two, the other one has nothing left to be held against either
		if x, _, _ := m.parted(j); math.IsNaN(x) {
			out = s.endPartner(m, j, at, say("%s was worked on or its baseline accepted; learning anew", s.loops[p.Loop].Tag), out)
		}
	}
	return out
}

// endPartner takes back what stands on a loop.
func (s *Site) endPartner(m *place, k int, at time.Time, why string, out []finding.Finding) []finding.Finding {
	p := &m.loops[k]
	if p.Standing {
		out = s.part(m, k, at, finding.Cleared, why, out)
	}
	p.Standing, p.Above, p.Sound = false, 0, 0
	return out
}

// judgePartner decides about one loop after a block.
func (s *Site) judgePartner(m *place, k int, at time.Time, out []finding.Finding) []finding.Finding {
	p := &m.loops[k]
	x, worth, _ := m.parted(k)
	if math.IsNaN(x) {
		return s.endPartner(m, k, at, "for two days it could not be compared with a partner", out)
	}
	if limit := s.limitOf(p, x); !math.IsNaN(limit) {
		worth = max(worth, partnerShare*limit)
	}
	switch {
	case math.Abs(x) > worth:
		if p.Above == 0 {
			p.Since = at.Unix() - blockS
		}
		p.Above, p.Sound = min(p.Above+1, 1000), 0
	case math.Abs(x) < worth*2/3:
		p.Above, p.Sound = 0, min(p.Sound+1, 1000)
	}
	switch {
	case p.Standing && p.Sound >= partnerGone:
		why := say("reads with its partners again for three days (%+.2f °C, threshold %.2f °C)", x, worth)
		out = s.endPartner(m, k, at, why, out)
	case p.Above >= partnerConfirm && !s.other(m, k):
		out = s.tellPartner(m, k, at, worth, out)
	}
	return out
}

// limitOf returns the limit of a loop on the side of x, °C; NaN without one.
func (s *Site) limitOf(p *partner, x float64) float64 {
	if x < 0 {
		return -float64(s.loops[p.Loop].LimitLow)
	}
	return float64(s.loops[p.Loop].LimitHigh)
}

// other tells whether of two it is more likely the other one that moved: its
// transmitter does not report every lead that is in its reading, this one's does
// and its leads are sound.
func (s *Site) other(m *place, k int) bool {
	return len(m.loops) == 2 && !s.hides(&m.loops[k]) && s.hides(&m.loops[1-k]) && s.put[m.loops[k].Loop].Kind == ""
}

// hides tells whether leads can move a reading without being seen.
func (s *Site) hides(p *partner) bool {
	l := s.loops[p.Loop]
	return l.Reports != wiring.AllLeads && wiring.Coefficients(l.Method) != [measure.LeadCount]float64{}
}

// tellPartner raises a finding or updates it when it says something new.
func (s *Site) tellPartner(m *place, k int, at time.Time, worth float64, out []finding.Finding) []finding.Finding {
	p := &m.loops[k]
	x, _, _ := m.parted(k)
	severity := finding.Info // an element that drifts within the limit is no fault
	if math.Abs(x) > s.limitOf(p, x) {
		severity = finding.Maintenance
	}
	state := finding.Updated
	switch {
	case !p.Standing:
		p.Standing, p.Raised, state = true, at.Unix(), finding.Raised
	case at.Unix()-p.Told < updateEvery, math.Abs(x-p.Said) < partnerMoved*math.Abs(p.Said) && severity == finding.Severity(p.Severity):
		return out
	}
	p.Told, p.Said, p.Severity = at.Unix(), x, uint8(severity)
	return s.part(m, k, at, state, s.parting(m, k, x, worth), out)
}

// parting words what a loop does against its partners.
func (s *Site) parting(m *place, k int, x, worth float64) string {
	from := fmt.Sprintf("its %d partners", len(m.loops)-1)
	if len(m.loops) == 2 {
		from = "its partner " + s.loops[m.loops[1-k].Loop].Tag
	}
	side, low := "higher", ""
	if x < 0 {
		side, low = "lower", " or a shunt across it"
	}
	cause := "its element" + low
	if s.hides(&m.loops[k]) {
		cause = "its element" + low + ", or a lead that is not reported"
	}
	switch {
	case len(m.loops) == 2 && s.other(m, 1-k):
		cause += ", or the element of " + s.loops[m.loops[1-k].Loop].Tag + ", which its leads do not show: check both against a reference before replacing one"
	case len(m.loops) == 2:
		cause = "either may have moved: check both against a reference before replacing one; if it is this one, " + cause
	}
	return fmt.Sprintf("reads %.2f °C %s against %s than when the two were learnt (all steady, median of two days, called from %.2f °C, errors seen in the leads taken off): %s",
		math.Abs(x), side, from, worth, cause)
}

// part dresses what stands about a loop and its partners.
func (s *Site) part(m *place, k int, at time.Time, state finding.State, why string, out []finding.Finding) []finding.Finding {
	p := &m.loops[k]
	f := finding.Finding{
		Time: at.UTC(), Loop: s.loops[p.Loop].Tag, Kind: finding.SensorDrift, State: state, Severity: finding.Severity(p.Severity),
		Since: time.Unix(p.Since, 0).UTC(), Contact: quantity.Ohm(nan), Error: quantity.DeltaC(nan), U: quantity.DeltaC(nan), POverLimit: nan,
		Confidence: 0.9, Engine: Version, Evidence: why,
	}
	switch {
	case state == finding.Cleared:
		f.Confidence = 1
	case len(m.loops) == 2: // it may be the other one
		f.Confidence = 0.5
		if s.other(m, 1-k) {
			f.Confidence = 0.7
		}
	default:
		x, _, scale := m.parted(k)
		f.Error, f.U = quantity.DeltaC(x), quantity.DeltaC(math.Hypot(partnerDrift, 2*scale))
	}
	return append(out, f)
}
