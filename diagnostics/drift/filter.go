package drift

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/drift/stat"
	"ohmdrift/diagnostics/finding"
)

// A device whose filter or integration time is set anew scatters more or less
// from one moment on, on all leads by the same factor, and then stays so. A
// shunt grows over days and goes with wet and hot hours. What a filter did is
// learnt as the noise of this device.

const (
	// filterWait is how many blocks the noise must stay as it has become: two
	// days, with all hours of the day in them.
	filterWait = 8
	// filterSoon is from how many blocks on a step may be under way: until it is
	// judged the noise is nobody's shunt.
	filterSoon = 3
	// filterLeast is the least change, as a logarithm, that is called one: a
	// third. The scatter of a block's noise is some 10 %; a smaller step looks
	// like a slope.
	filterLeast = 0.3
	// filterSure is by how many variances of a block a step must fit better than a
	// slope: two standard deviations.
	filterSure = 4
	// filterEven is the share of the change of the loudest pair that the quietest
	// must show: a filter takes all alike, what is left is the scatter of four
	// days.
	filterEven = 0.35
	// filterSteady is by how much the noise may vary from block to block after the
	// change, of its variance in the baseline: what comes with wet spells follows
	// their hours, by several times the ten per cent of a block. A stronger filter
	// leaves fewer values that know nothing of each other, a third say.
	filterSteady = 3
	// filterVaries is the least of that variance that is believed: a block of 36 values
	// scatters by some 8 %.
	filterVaries = 0.08 * 0.08
	// filterLarge is the change, as a logarithm, of which the first blocks show less:
	// single changes are cut at winsor times the noise of the block before, so a step to
	// more than twice as much is followed within filterRamp blocks, the one in which it
	// came and two more.
	filterLarge = 0.7
	filterRamp  = 3
	// filterScale makes logarithms whole numbers: steps of 1.6 %, up to a factor of
	// seven either way.
	filterScale = 64
)

// filterState holds the noise of the last four days.
type filterState struct {
	Log [2 * filterWait]int8 // mean logarithm of the noise of all pairs over that of the baseline, newest last
	N   uint8
}

func (s *filterState) push(x float64) {
	copy(s.Log[:], s.Log[1:])
	s.Log[len(s.Log)-1] = int8(math.Round(min(max(x*filterScale, -127), 127)))
	s.N = min(s.N+1, uint8(len(s.Log)))
}

// step returns by how much, as a logarithm, the last blocks differ from those
// before, and whether that came as a step rather than as a slope or by chance, and
// stayed with a variance of at most so much from block to block. A large one may take
// some blocks to be seen whole.
func (s *filterState) step(after int, most float64) (change float64, ok bool) {
	if change, ok = s.stepOver(after, 0, most); ok || !(math.Abs(change) > filterLarge) {
		return change, ok
	}
	return s.stepOver(after, filterRamp, most)
}

// stepOver is step with so many blocks between before and after left out.
func (s *filterState) stepOver(after, ramp int, most float64) (change float64, ok bool) {
	n := int(s.N)
	if n < len(s.Log) {
		return 0, false
	}
	then, now := s.Log[:n-after-ramp], s.Log[n-after:]
	before, since := fitted(then), fitted(now)
	if change = since.mean - before.mean; !(math.Abs(change) > filterLeast) {
		return change, false // however it came
	}
	var l stat.Line
	for i, v := range s.Log {
		if i < len(then) || i >= n-after {
			l.Add(float64(i), float64(v)/filterScale, 1)
		}
	}
	ofStep, ofLine := before.misfit+since.misfit, l.Misfit(l.Fit())
	return change, since.misfit < most*float64(after-1) && ofLine-ofStep > filterSure*(ofStep/(l.N-2)+1.0/(filterScale*filterScale))
}

// level is the mean of some blocks and the sum of squares about it.
type level struct{ mean, misfit float64 }

func fitted(log []int8) (l level) {
	for _, v := range log {
		l.mean += float64(v) / filterScale / float64(len(log))
	}
	for _, v := range log {
		d := float64(v)/filterScale - l.mean
		l.misfit += d * d
	}
	return l
}

// steady is the most that the noise may vary from block to block after another
// filter.
func (h *hissState) steady() float64 { return filterSteady * max(h.sd()*h.sd(), filterVaries) }

// filtering tells whether a step of the noise is under way.
func (s *filterState) filtering(most float64) bool {
	for after := filterSoon; after < filterWait; after++ {
		if _, ok := s.step(after, most); ok {
			return true
		}
	}
	return false
}

// filtered looks for a change of the device's filter. It comes before the noise
// of the block is judged, so the newest that it knows is that of the block
// before.
func (e *Engine) filtered(p *picture, out []finding.Finding) []finding.Finding {
	h, s := &e.s.Hiss, &e.s.Filter
	n := e.m.n * (e.m.n - 1) / 2
	if n < 3 || h.Seen < filterWait || h.Quiet[0] == 0 || e.s.Found[aboutInsulation].Kind != 0 {
		return out
	}
	sum := 0.0
	for i := range n {
		sum += math.Log(math.Max(float64(h.Sigma[i]), hissFloor)/math.Max(float64(h.Quiet[i]), hissFloor)) / float64(n)
	}
	s.push(sum)
	most := h.steady()
	change, ok := s.step(filterWait, most)
	if !ok || !e.evenly(change) || e.processStepped() {
		if s.filtering(most) {
			h.Over, h.Half = 0, h.Half/2
		}
		return out
	}
	c := claim{
		kind: finding.DeviceChanged, severity: finding.Info, since: p.at - (filterWait+1)*blockS, contact: math.NaN(), sure: 0.8,
		evidence: fmt.Sprintf("values of all leads scatter %.2f times as much as before, all at once on %s and so since: another filter of the device; learnt", math.Exp(change), day(p.at-(filterWait+1)*blockS)),
	}
	e.hushed()
	return e.raise(aboutWork, p.at, &c, out)
}

// hushed learns the noise anew.
func (e *Engine) hushed() {
	for k := range e.m.n {
		e.s.Ch[k].Quiet, e.s.Ch[k].QuietN = 0, 0
	}
	e.s.Hiss, e.s.Filter = hissState{}, filterState{}
}

// evenly tells whether the noise of every pair went the way of the change. That
// of each pair is smoothed over days, so of a change two days ago it has seen
// more than half.
func (e *Engine) evenly(change float64) bool {
	h := &e.s.Hiss
	least, most := math.Inf(1), math.Inf(-1)
	for i := range e.m.n * (e.m.n - 1) / 2 {
		x := math.Copysign(1, change) * float64(h.Each[i])
		least, most = min(least, x), max(most, x)
	}
	return least > filterEven*most
}

// processStepped tells whether the process went to another temperature with the
// change and has not been back since: a shunt that conducts while the element is
// hot comes with it, and is gone when it is back.
func (e *Engine) processStepped() bool {
	t := &e.s.Copper.Temp // newest block, filterWait of which the noise is known, and those before them
	away := false
	for _, was := range t[:recent-filterWait-2] { // the last of them may be the block after: a step is found a block early or late
		for _, x := range t[recent-filterWait-1:] {
			d := math.Abs(float64(x - was))
			if d <= heatMoved {
				return false
			}
			away = away || d > heatMoved // absent readings are neither
		}
	}
	return away
}
