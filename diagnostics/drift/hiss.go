package drift

import (
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
	Prev   [pairsMost]float32 // difference that the next sample is compared with, Ω
	Sum    [pairsMost]float32 // Σ of squared winsorised changes, or what stands for them, in the running block
	N      [pairsMost]uint16
	Sigma  [pairsMost]float32 // standard deviation of a change, last block
	Quiet  [pairsMost]float32 // in the baseline
	Each   [pairsMost]float32 // logarithm of the noise of each pair over Quiet, smoothed
	Seen   uint16             // blocks that Quiet comes from
	Over   uint16             // blocks in a row above a threshold
	Half   uint16             // judged blocks in a row above half of it
	Low    uint16             // judged blocks in a row below half of it
	From   int64              // since
	Fast   hissChart          // of the mean over all pairs: three days
	Slow   hissChart          // ten days: what is small and stays
	Recent float32            // the same over a day
	Spread float32            // mean square of a block about Recent, in the baseline
	Flat   flatState          // of a standing finding
}

// hissChart is an exponentially weighted mean (NIST/SEMATECH e-Handbook 6.3.2.4)
// of the logarithm of the noise over that of the baseline.
type hissChart struct {
	Level float32
	Most  float32 // the largest in the baseline
}

const (
	fastWeight = 0.08  // of a block: three days, a leak in its last weeks
	slowWeight = 0.025 // ten days: half the chart error of the fast one
	// An input's own noise goes with its temperature by some per cent: that of a
	// resistor as the root of kelvins (Nyquist 1928), 6.5 % from 5 to 43 °C. Bursts of
	// noise from outside, some hours each, lift a chart by as much: of eight false leaks in
	// 2,900 years of simulated loops with 7 and 6.5 % half are left with these, two
	// with 8.5 and 8 %; but then a leak that comes at once with the first wet front of a
	// young baseline is another filter.
	fastLeast = 0.08 // logarithm
	slowLeast = 0.075
	hissSure  = 4.3  // standard errors of a chart
	hissMost  = 1.2  // times the largest level of the baseline
	hissCap   = 0.15 // above the chart: a storm of some hours does not reach the threshold
	// Values are compared with a short mean of those before, in which the newest has the
	// weight hissTrack: a block then tells the noise with a tenth less scatter than from
	// changes alone. A longer mean sees more, and takes the flank of a hot line for noise.
	// hissAsChange makes of the deviation from such a mean, √(2/(2−w)) of the noise, what
	// a change shows, √2. In steps of hissFine (Ω) and more, which are coarser than most
	// noise, the deviations are those of rounding: of 50 leaks read in 5 mΩ 13 were in
	// time instead of 28 (at a weight of 0.4). There it is changes.
	hissTrack    = 0.6
	hissAsChange = 1.1832159566199232 // √(2 − hissTrack)
	hissFine     = 0.003
	hissWeight   = 0.1 // of a block in the noise of each pair: four days
	pairCap      = 0.5 // above what is known of a pair: an hour in the flanks of a hot line is ten times as loud as a block without
	hissDay      = 0.3 // of a block in what the next one is compared with: a day
	// The quietest pair must show this share of the common rise, and of that of
	// the loudest: one noisy lead is another matter.
	hissShare = 0.5
	hissEven  = 0.35
	hissLearn = 200 // blocks of baseline: fifty days add two fifths to the variance of the chart of ten days, thirty would add two thirds
	// hissYoung is by how much a threshold is larger while the baseline is young: its own
	// scatter is known from few blocks, and of them each is like the one before.
	hissYoung = 0.4
	hissReady = 60 // from which something is said: fifteen days
	// What has been above half of a threshold for hissSlowly blocks, two days, came
	// slowly: a filter or a storm is there at once. It must only go on; other noise must
	// be as loud as the chart for hissConfirm blocks, and hissCap keeps a storm of half a
	// day from lifting a chart so far.
	hissSlowly  = 8
	hissDry     = 32 // blocks after which noise is over: a dry spell is about a week (common practice)
	hissConfirm = 2
	// hissGrid is the least noise, as a share of the resolution, that can be
	// followed: below, what is measured is rounding.
	hissGrid = 0.6
	// winsor is where changes are cut, in standard deviations: the flank of a
	// hot line or a spike is no noise.
	winsor    = 2.5
	hissFloor = 0.0005 // Ω, less than any input's noise
	// pairSamples is how many samples are counted at most: a block of a poll a second
	// and half as much again.
	pairSamples = 1 << 15
)

// add takes a block into the chart.
func (c *hissChart) add(r, weight float64) {
	x := float64(c.Level)
	c.Level = float32(ewma(x, min(r, x+hissCap), weight))
}

// take adds a sample to the noise of each pair. Copper drops out of the
// difference of two leads each times the length of the other; over the longer,
// so that a jumper in the place of a lead is not blown up.
func (h *hissState) take(l *look, ch *[channels]chState, n int, grid float64) {
	i, least := 0, max(grid, hissFloor)
	for a := range n {
		x, p := l.v[a], ch[a].Base
		for b := range a {
			q := ch[b].Base
			d := x*q - l.v[b]*p
			if p > q {
				d /= p
			} else {
				d /= q
			}
			if c := d - float64(h.Prev[i]); c == c {
				most := winsor * max(float64(h.Sigma[i]), least)
				if grid < hissFine && math.Abs(c) < most { // what jumped is where it is
					d -= (1 - hissTrack) * c
					c *= hissAsChange
				}
				c = within(c, most)
				h.Sum[i] += float32(c * c)
				if h.N[i]++; h.N[i] == pairSamples { // another lead has no value for days
					h.Sum[i], h.N[i] = h.Sum[i]/2, h.N[i]/2
				}
			}
			if d == d { // a value that is missing leaves the mean as it is
				h.Prev[i] = float32(d)
			}
			i++
		}
	}
}

// close ends a block and returns the mean logarithm of the noise of all pairs
// over that of the baseline; ok is false where that is not known.
func (h *hissState) close(pairs int, grid float64, learn bool) (mean float64, each [pairsMost]float64, ok bool) {
	for i := range pairs {
		if h.N[i] < 6 {
			return 0, each, false
		}
	}
	for i := range pairs {
		h.Sigma[i] = float32(math.Sqrt(float64(h.Sum[i]) / float64(h.N[i])))
		h.Sum[i], h.N[i] = 0, 0
		if learn && h.Seen < hissLearn {
			h.Quiet[i] += (h.Sigma[i] - h.Quiet[i]) / float32(h.Seen+1)
		}
		g := grid * grid / 12 // a pair that rounding holds still has no noise to compare with
		now, then := float64(h.Sigma[i]), float64(h.Quiet[i])
		each[i] = math.Log((now*now+g+1e-12)/(then*then+g+1e-12)) / 2
		mean += each[i] / float64(pairs)
	}
	if learn && h.Seen < hissLearn {
		h.Seen++
	}
	return mean, each, !math.IsNaN(mean) && !math.IsInf(mean, 0) && h.Quiet[0] > 0
}

// chart takes a block into what is followed of it.
func (h *hissState) chart(mean float64, each *[pairsMost]float64, pairs int) {
	d := mean - float64(h.Recent)
	h.Recent = float32(ewma(float64(h.Recent), mean, hissDay))
	if h.Seen < hissLearn && h.Seen > 8 {
		h.Spread += (float32(d*d) - h.Spread) / float32(h.Seen-8)
	}
	for i := range pairs {
		x := float64(h.Each[i])
		h.Each[i] = float32(ewma(x, min(each[i], x+pairCap), hissWeight))
	}
	h.Fast.add(mean, fastWeight)
	h.Slow.add(mean, slowWeight)
	if h.Seen > 20 && h.Seen < hissReady {
		h.Fast.Most = max(h.Fast.Most, h.Fast.Level)
		h.Slow.Most = max(h.Slow.Most, h.Slow.Level)
	}
}

// sd is the standard deviation of a block about the mean of the day before.
func (h *hissState) sd() float64 {
	return math.Sqrt(float64(h.Spread) / (1 + hissDay/(2-hissDay))) // less the scatter of Recent itself
}

// worth is the level of a chart from which its noise is more than that of the
// baseline; the baseline itself is known from Seen blocks only.
func (h *hissState) worth(c *hissChart, least, weight float64) float64 {
	se := h.sd() * math.Sqrt(weight/(2-weight)+1/float64(max(h.Seen, 1)))
	return h.young() * max(least, hissSure*se, hissMost*float64(c.Most))
}

// young is the factor on thresholds of noise while the baseline is.
func (h *hissState) young() float64 {
	return 1 + hissYoung*(1-float64(min(h.Seen, hissLearn))/hissLearn)
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
	half := h.Half
	h.Half = 0 // in a row: a block that is not judged ends it
	pairs := e.m.n * (e.m.n - 1) / 2
	if e.s.Heat.Warm { // flanks of heat are no noise
		h.Sum, h.N = [pairsMost]float32{}, [pairsMost]uint16{}
		return out
	}
	calm := h.Over == 0
	for k := range e.m.n {
		calm = calm && !e.s.Ch[k].Flagged
	}
	mean, each, ok := h.close(pairs, float64(e.s.Grid.Step), calm)
	if e.m.n < 3 || e.s.Grid.Same > 0 || !ok {
		return out
	}
	h.chart(mean, &each, pairs)
	if !calm && h.Over == 0 || h.Seen < hissReady || float64(h.Quiet[0]) < hissGrid*float64(e.s.Grid.Step) || !e.dithered() {
		return out
	}
	h.Half = half
	return e.flat(p, mean, e.shunt(p, mean, out))
}

// oneScatters tells whether a lead is known that scatters by itself: then the noise
// of its pairs says nothing, and the quietest pair must tell.
func (e *Engine) oneScatters() bool {
	k := e.s.Found[aboutContact].kind()
	return k == finding.LeadIntermittent || k == finding.LeadNoise
}

// confirms returns how many blocks confirm a chart at a level, and how loud they must
// be, as a logarithm.
func (h *hissState) confirms(level float64) (blocks uint16, loud float64) {
	if h.Half >= hissSlowly {
		return 1, level / 2
	}
	return hissConfirm, level
}

// shunt judges the charts: both are asked, each with its own threshold. mean is the
// logarithm of the noise of this block.
func (e *Engine) shunt(p *picture, mean float64, out []finding.Finding) []finding.Finding {
	h := &e.s.Hiss
	n := e.m.n * (e.m.n - 1) / 2
	least, most := math.Inf(1), math.Inf(-1)
	for _, x := range h.Each[:n] {
		least, most = min(least, float64(x)), max(most, float64(x))
	}
	level, worth, span := float64(h.Fast.Level), h.worth(&h.Fast, fastLeast, fastWeight), "three"
	if s, w := float64(h.Slow.Level), h.worth(&h.Slow, slowLeast, slowWeight); s/w > level/worth {
		level, worth, span = s, w, "ten"
	}
	if level < worth/2 {
		h.Half, h.Low = 0, min(h.Low+1, 1000)
	} else {
		h.Half, h.Low = min(h.Half+1, 1000), 0
	}
	if h.Over == 0 {
		h.From = p.at - int64(max(hissConfirm, min(h.Half, hissSlowly)))*blockS
	}
	need, loud := h.confirms(level)
	if level < worth || least < max(hissShare*level, hissEven*most) || e.oneScatters() && least < worth {
		h.Over = 0
		if h.Low >= hissDry {
			out = e.clear(aboutInsulation, p.at, "noise has been back near that of the baseline for eight days", out)
		}
		return out
	}
	if h.Over < need && mean < loud { // a storm that is over: the chart still comes down from it
		return out
	}
	if h.Over = min(h.Over+1, 1000); h.Over < need {
		return out
	}
	c := claim{
		kind: finding.InsulationLeak, severity: finding.Maintenance, since: h.From, contact: math.NaN(), sure: 0.8,
		evidence: say("noise between all leads is %.2f times that of the baseline over %s days (threshold %.2f), in the quietest pair %.2f times: not one contact, but moisture or a shunt across the leads, or another input or filter of the device",
			math.Exp(level), span, math.Exp(worth), math.Exp(least)),
	}
	return e.raise(aboutInsulation, p.at, &c, out)
}
