package plant

import (
	"math"
	"slices"
)

// What changes readings or leads without a terminal going bad. A detector should
// call it what it is, or say nothing.
const (
	// Extended lead: Size Ω of copper (at 20 °C) more in one lead.
	Extended Kind = "extended"
	// Recabled loop: Size Ω of copper (at 20 °C) more in every lead.
	Recabled Kind = "recabled"
	// Settling contact after work: Size Ω that die away with time constant Life.
	Settling Kind = "settling"
	// HotLine beside the cable, hot for hours at a time: Warm K in all leads, a
	// tenth more in Lead, which lies nearest.
	HotLine Kind = "hot-line"
	// HotCore: a line or steam trap beside one core warms its copper by up to Warm
	// K for some hours at a time, most days; jacket and filler make the flanks soft.
	HotCore Kind = "hot-core"
	// SensorDrift: the element itself gains Size Ω per Life.
	SensorDrift Kind = "sensor-drift"
	// Recalibrated device: every lead reads Size Ω more from then on.
	Recalibrated Kind = "recalibrated"
	// Coarser registers from then on: leads in steps of Size Ω.
	Coarser Kind = "coarser"
	// Bursts of noise of Size Ω (standard deviation) on all leads and on the sensor
	// value, in one hour of fifty.
	Bursts Kind = "bursts"
	// Flaky communication: in one second of ten the gateway reports no answer.
	Flaky Kind = "flaky"
	// Garbled values: one lead value of five hundred is zero, has no
	// value, or (one of ten) is another register's.
	Garbled Kind = "garbled"
)

func harmless() []Kind {
	return []Kind{Extended, Recabled, Settling, HotLine, HotCore, SensorDrift, Recalibrated, Coarser, Bursts, Flaky, Garbled}
}

// Harmless reports whether a terminal is sound with this kind: the right answer
// of a detector is no finding above "info".
func (k Kind) Harmless() bool { return k == Sound || slices.Contains(harmless(), k) }

const (
	hotLineSlot = 5 * 3600.0 // s, how long a line stays hot or cold
	burstSlot   = 3600.0     // s
	nearestMore = 0.1        // how much warmer than the rest the nearest lead gets
)

// disturb puts one harmless kind into the state.
func (x *transmitter) disturb(f *fault, s *state, sec, age float64) {
	switch f.Kind {
	case Extended:
		s.added[f.Lead] += float64(f.Size)
	case Recabled:
		for i := range s.added {
			s.added[i] += float64(f.Size)
		}
	case Settling:
		s.contact[f.Lead] += float64(f.Size) * math.Exp(-age/max(f.life, 1))
	case HotLine:
		k := float64(f.Warm) * (0.5 + 0.5*wander(f.key, sec, hotLineSlot, chSlot)) * (1 - math.Exp(-age/heatTau))
		s.copperC += k
		s.warmer[f.Lead] += nearestMore * k
	case HotCore:
		s.warmer[f.Lead] += float64(f.Warm) * f.heated(sec)
	case SensorDrift:
		if f.life > 0 {
			s.element += float64(f.Size) * age / f.life
		}
	case Recalibrated:
		s.shift += float64(f.Size)
	case Coarser:
		s.coarse = max(s.coarse, float64(f.Size))
	case Bursts:
		if uniform(f.key, uint64(sec/burstSlot), chSlot) < 0.02 {
			s.burst = math.Hypot(s.burst, float64(f.Size))
		}
	}
}

const (
	heatEvery = 0.6 * day // one turn of a line that is hot for a part of it
	heatTau   = 1800.0    // s, of a core of 1.5 mm² in its jacket beside others, and of a cable; our choice
)

// heated returns how much of its final warmth a core beside a line has at sec: it
// takes it with an exponential and loses it with one. What is left of the turn before
// last is nothing.
func (f *fault) heated(sec float64) float64 {
	turn := math.Floor(sec / heatEvery)
	warmth := 0.0
	for n := turn - 1; n <= turn; n++ {
		k := uint64(int64(n))
		on := (n + 0.1 + 0.3*uniform(f.key, k, chSlot)) * heatEvery
		length := heatEvery * (0.1 + 0.2*uniform(f.key, k, chContact))
		switch into := sec - on; {
		case into < 0:
		case into < length:
			warmth += 1 - math.Exp(-into/heatTau)
		default:
			warmth += (1 - math.Exp(-length/heatTau)) * math.Exp(-(into-length)/heatTau)
		}
	}
	return warmth
}

// garbledShare is how many lead values of Garbled are wrong.
const garbledShare = 0.002

// garble returns what the register of a lead holds instead of r at t (ns since
// 1970).
func (f *fault) garble(r float64, lead, t int64) float64 {
	key := mix(f.key ^ uint64(lead))
	switch u := uniform(key, uint64(t/1e9), chSlot); {
	case u < 0.5*garbledShare:
		return 0
	case u < 0.9*garbledShare:
		return math.NaN()
	case u < garbledShare:
		return 32 * uniform(key, uint64(t/1e9), chContact)
	}
	return r
}

// coarser rounds a lead to the steps of Coarser.
func (s *state) coarser(r float64) float64 {
	if s.coarse <= 0 {
		return r
	}
	return toStep(r, s.coarse)
}

// flaky reports whether the gateway has no answer in the second of t (ns since
// 1970).
func (f *fault) flaky(t int64) bool {
	return f.Kind == Flaky && uniform(f.key, uint64(t/1e9), chSlot) < 0.1
}
