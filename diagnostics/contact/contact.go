// Package contact is what a terminal point adds to a lead, when it is sound and
// as it ages. Resistances are Ω, forces N, times in any one unit.
//
// A loop with a resistance thermometer is a dry circuit: 1 mA through 0.1 Ω is
// 0.1 mV, far below the tenths of a volt that break an oxide film. Films stay
// and the reading shows them, while an ordinary ohmmeter or a higher test
// current can heal the fault during the check.
package contact

import (
	"math"

	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/quantity"
)

// blockVolt is the voltage drop that a terminal block may have at a tenth of
// the current of its section, measured over both clamping points and about 20 mm
// of conductor (IEC 60947-7-1:2009, as restated in a terminal catalogue).
const blockVolt = 3.2e-3

// rated holds the current of each section in A, as in that catalogue.
var rated = []struct {
	area quantity.SquareMM
	amps float64
}{{0.5, 6}, {0.75, 9}, {1.0, 13.5}, {1.5, 17.5}, {2.5, 24}, {4, 32}, {6, 41}}

// BlockLimit returns what a sound terminal block may have for a conductor: 3.2
// mV at a tenth of the rated current. It takes the section at or below area; the
// smallest one for thinner wires.
func BlockLimit(area quantity.SquareMM) quantity.Ohm {
	amps := rated[0].amps
	for _, r := range rated {
		if area >= r.area {
			amps = r.amps
		}
	}
	return quantity.Ohm(blockVolt / (0.1 * amps))
}

// copperHardness is the hardness that decides how far two copper surfaces give
// way, in Pa (handbook value, from memory).
const copperHardness = 1e9

// Constriction returns the resistance of a clean copper contact under a force
// (Holm): ρ/2·√(πH/F). Losing 99 % of the force raises it tenfold, still below
// 1 mΩ: what hurts is the film, not the force alone. NaN without force.
func Constriction(force float64) quantity.Ohm {
	if !(force > 0) {
		return quantity.Ohm(math.NaN())
	}
	return quantity.Ohm(copper.Resistivity * 1e-6 / 2 * math.Sqrt(math.Pi*copperHardness/force))
}

// Linear is steady creep or loosening: r0 + rate·t.
func Linear(r0 quantity.Ohm, rate, t float64) quantity.Ohm { return r0 + quantity.Ohm(rate*t) }

// Parabolic is the growth of a film that diffusion limits: r0 + k·√t (Wagner).
func Parabolic(r0 quantity.Ohm, k, t float64) quantity.Ohm {
	return r0 + quantity.Ohm(k*math.Sqrt(max(t, 0)))
}

// ShrinkingSpot is a contact spot that a film eats from its rim: its radius
// falls as a0 − √(k t), so R = R0/(1 − √(t/τ)), flat for most of its life, then
// running away. A straight line through it is optimistic at the end. +Inf from τ
// on.
func ShrinkingSpot(r0 quantity.Ohm, t, tau float64) quantity.Ohm {
	if t >= tau {
		return quantity.Ohm(math.Inf(1))
	}
	return r0 / quantity.Ohm(1-math.Sqrt(max(t, 0)/tau))
}
