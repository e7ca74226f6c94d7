package drift

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/finding"
)

// pairsMost is how many pairs four channels make.
const pairsMost = 6

// hissState follows the noise of the differences between channels against that
// of the baseline: copper drops out of a difference. A shunt to earth or between
// cores puts noise on every lead at once, wet hours more than dry ones; a
// contact or a hot line leaves at least one pair alone.
type hissState struct {
	Prev  [pairsMost]float32 // difference in the last sample, Ω
	Sum   [pairsMost]float32 // Σ of squared winsorised changes in the running block
	N     [pairsMost]uint16
	Sigma [pairsMost]float32 // standard deviation of a change, last block
	Quiet [pairsMost]float32 // in the baseline
	Seen  uint16             // blocks that Quiet comes from
	Each  [pairsMost]float32 // logarithm of that of each pair, smoothed
	Level float64            // logarithm of the noise over that of the baseline, mean of all pairs, smoothed
	Most  float64            // largest Level in the baseline
	Over  uint16             // blocks in a row above the threshold
	From  int64              // since
}

const (
	hissMore    = 1.12 // ratio that the smoothed noise must pass: six standard errors of it
	hissFast    = 0.08 // weight of a block: three days
	hissCap     = 0.3  // of a block's logarithm: a storm of some hours does not reach the threshold
	hissWeight  = 0.1  // of a block in the noise of each pair: four days
	hissShare   = 0.4  // of the common rise (logarithms) that the quietest pair must show
	hissLeast   = 0.03 // and at least this much
	hissEven    = 0.3  // of the rise of the loudest pair: one noisy lead is another matter
	hissLearn   = 60   // blocks of baseline: fifteen days
	hissConfirm = 4    // blocks: a storm of ten hours is over by then
	// hissGrid is the least noise, as a share of the resolution, that can be
	// followed: below, what is measured depends on where the value lies between
	// two steps.
	hissGrid = 0.6
	// winsor is where changes are cut, in standard deviations: the flank of a
	// hot line or a spike is no noise.
	winsor    = 2.5
	hissFloor = 0.0005 // Ω, less than any input's noise
)

// take adds a sample to the noise of each pair.
func (h *hissState) take(l *look, ch *[channels]chState, n int, grid float64) {
	base := 0.0
	for k := range n {
		base += ch[k].Base / float64(n)
	}
	i := 0
	for a := range n {
		for b := range a {
			d := (l.v[a]/ch[a].Base - l.v[b]/ch[b].Base) * base
			if c := d - float64(h.Prev[i]); c == c {
				c = min(math.Abs(c), winsor*max(float64(h.Sigma[i]), grid, hissFloor))
				h.Sum[i] += float32(c * c)
				h.N[i]++
			}
			h.Prev[i] = float32(d)
			i++
		}
	}
}

// close ends a block and returns the noise of all pairs over that of the
// baseline and, as logarithms, that of the quietest and the loudest pair; ok is false while that is not known.
func (h *hissState) close(pairs int, grid float64, learn bool) (ratio, least, most float64, ok bool) {
	least, most = math.Inf(1), math.Inf(-1)
	sum := 0.0
	for i := range pairs {
		if h.N[i] < 6 {
			return 0, 0, 0, false
		}
		h.Sigma[i] = float32(math.Sqrt(float64(h.Sum[i]) / float64(h.N[i])))
		h.Sum[i], h.N[i] = 0, 0
		if learn && h.Seen < hissLearn {
			h.Quiet[i] += (h.Sigma[i] - h.Quiet[i]) / float32(h.Seen+1)
		}
		g := grid * grid / 12 // a pair that rounding holds still has no noise to compare with
		now, then := float64(h.Sigma[i]), float64(h.Quiet[i])
		r := math.Log((now*now+g+1e-12)/(then*then+g+1e-12)) / 2
		h.Each[i] = float32(ewma(float64(h.Each[i]), r, hissWeight))
		sum += r / float64(pairs)
		least, most = min(least, float64(h.Each[i])), max(most, float64(h.Each[i]))
	}
	if learn && h.Seen < hissLearn {
		h.Seen++
	}
	return math.Exp(sum), least, most, h.Seen >= 8 && !math.IsNaN(sum) && !math.IsInf(sum, 0) && h.Quiet[0] > 0
}

// alone returns by how much, as a logarithm, the noise of every pair with
// channel k exceeds that of its baseline; 0 where a pair without it rose as well.
func (h *hissState) alone(k, n int) float64 {
	least, others := math.Inf(1), 0.0
	i := 0
	for a := range n {
		for b := range a {
			if a == k || b == k {
				least = min(least, float64(h.Each[i]))
			} else {
				others = max(others, float64(h.Each[i]))
			}
			i++
		}
	}
	if others > 0.4*least {
		return 0
	}
	return least
}

// hissing judges the noise of a block.
func (e *Engine) hissing(p *picture, out []finding.Finding) []finding.Finding {
	h := &e.s.Hiss
	n := e.m.n * (e.m.n - 1) / 2
	if e.s.Heat.Warm { // flanks of heat are no noise
		h.Sum, h.N = [pairsMost]float32{}, [pairsMost]uint16{}
		return out
	}
	calm := h.Over == 0
	for k := range e.m.n {
		calm = calm && !e.s.Ch[k].Flagged
	}
	r, quietest, loudest, ok := h.close(n, float64(e.s.Grid.Step), calm)
	if n < 3 || e.s.Grid.Same > 0 || !calm && h.Over == 0 || !ok || float64(h.Quiet[0]) < hissGrid*float64(e.s.Grid.Step) {
		return out
	}
	h.Level = ewma(h.Level, min(math.Log(r), hissCap), hissFast)
	m := math.Exp(h.Level)
	if h.Seen < hissLearn {
		if h.Seen > 20 {
			h.Most = max(h.Most, m)
		}
		return out
	}
	if h.Over == 0 {
		h.From = p.at - 4*blockS
	}
	least := max(hissMore, 1+1.5*(h.Most-1))
	if m < least || quietest < max(hissLeast, hissShare*math.Log(m), hissEven*loudest) {
		h.Over = 0
		if m < 1+(least-1)/2 {
			out = e.clear(aboutInsulation, p.at, "noise is back near that of the baseline", out)
		}
		return out
	}
	if h.Over = min(h.Over+1, 1000); h.Over < hissConfirm {
		return out
	}
	c := claim{
		kind: finding.InsulationLeak, severity: finding.Maintenance, since: h.From, contact: math.NaN(), sure: 0.8,
		evidence: fmt.Sprintf("noise between all leads is %.2f times that of the baseline over two days (threshold %.2f), even in the quietest pair: a shunt, not a contact", m, least),
	}
	return e.raise(aboutInsulation, p.at, &c, out)
}
