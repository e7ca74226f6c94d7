package plant

import "math"

// The growth laws of a contact: x is age over life, the result a factor on the
// fault's size.

// linear is constant creep or loosening.
func linear(x float64) float64 { return max(x, 0) }

// parabolic is a film that grows by diffusion through itself (Wagner).
func parabolic(x float64) float64 { return math.Sqrt(max(x, 0)) }

// shrinkingSpot is R/R0 of a contact spot whose rim oxidises: its radius falls as
// a0 − √(k·t) and R as 1/a, so R/R0 = 1/(1 − √x); +Inf from x = 1 on.
func shrinkingSpot(x float64) float64 {
	if x <= 0 {
		return 1
	}
	if x >= 1 {
		return math.Inf(1)
	}
	return 1 / (1 - math.Sqrt(x))
}

// openOhm is the contact resistance from which on a lead counts as open: more
// than any input can drive its current through.
const openOhm = 1000.0

// thermalPerK is how much a loose clamp's resistance changes per kelvin, ten
// times copper's 0.0039 /K (our choice: what makes it a kind of its own).
const thermalPerK = 0.04

// excursionSlot is how long an intermittent contact stays in one state, s. Polls
// every minute see single outliers, polls every second see steps.
const excursionSlot = 20.0

// fretting is how much a degraded contact varies from one measurement to the
// next, as a share of what it has beyond a sound one: variability grows as
// contacts degrade (Holm conference 1990; the size is our choice).
const fretting = 0.02

// fret lets the degraded contacts of a state vary. Truth leaves it out.
func (x *transmitter) fret(s *state, cycle uint64) {
	for i := range s.leads {
		if beyond := s.contact[i] - x.contact0[i]; beyond > 0 && !math.IsInf(beyond, 1) {
			s.leads[i] += fretting * beyond * gauss(x.key, cycle, chFretting+uint64(i))
		}
	}
}

// contact returns what fault f adds to its lead at time t (s since 1970) and age
// (s, speeded), with the cable at copperC and wetness wet (0..1); +Inf is open.
func (f *fault) contact(t, age, copperC, wet float64) float64 {
	size, x := float64(f.Size), 1.0
	if f.life > 0 {
		x = age / f.life
	}
	switch f.Kind {
	case Linear:
		return size * linear(x)
	case Film:
		return size * parabolic(x)
	case TakeOff:
		return size * (shrinkingSpot(x) - 1)
	case Step:
		if f.life > 0 {
			return size * (1 + linear(x))
		}
		return size
	case Thermal:
		return size * min(x, 1) * max(0, 1+thermalPerK*(copperC-20))
	case Moisture:
		return size * min(x, 1) * (0.1 + 0.9*wet)
	case Noise:
		return size * min(x, 1) * math.Abs(gauss(f.key, uint64(int64(t*4)), chContact))
	case Intermittent:
		return f.excursion(t, x)
	case Open:
		return math.Inf(1)
	}
	return 0
}

// excursion is the resistance of an intermittent contact: sound most of the
// time, in some slots up to a few times Size. The share of bad slots grows from
// 2 % to 30 %.
func (f *fault) excursion(t, x float64) float64 {
	slot := uint64(int64(t / excursionSlot))
	if uniform(f.key, slot, chSlot) > 0.02+0.28*min(x, 1) {
		return 0
	}
	return float64(f.Size) * math.Exp(0.5*gauss(f.key, slot, chContact))
}
