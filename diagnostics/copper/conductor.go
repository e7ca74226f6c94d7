package copper

import (
	"math"

	"ohmdrift/diagnostics/quantity"
)

const (
	// Resistivity is that of standard annealed copper at 20 °C in Ω·mm²/m:
	// 1/58 rounded as usual in gauge tables (IEC 60028, 2.2e-5 below 1/58).
	Resistivity = 0.017241
	// Alpha20 is the temperature coefficient of 100 % IACS copper at 20 °C, 1/K.
	Alpha20 = 0.00393

	nickelResistivity     = 0.08  // Ω·mm²/m at 20 °C
	nickelAlpha20         = 0.006 // 1/K, handbook value from memory
	copperDensity         = 8.89  // g/cm³, of the resistivity standard
	nickelDensity         = 8.9   // g/cm³
	constantanResistivity = 0.49  // Ω·mm²/m, handbook value from memory
	layFactor             = 1.03  // strand lay adds 2 to 4 %, common practice
	tinFactor             = 1.03  // tin adds 1 to 5 %, common practice
)

// Conductor is one core of a cable. Build it with ParseConductor or a
// constructor.
type Conductor struct {
	name    string
	per20   float64 // Ω/m at 20 °C
	alpha20 float64 // 1/K
}

// Name returns the conductor as it was written, in one spelling.
func (c Conductor) Name() string { return c.name }

// String returns the name.
func (c Conductor) String() string { return c.name }

// PerMetre returns the resistance per length at 20 °C.
func (c Conductor) PerMetre() quantity.OhmPerMetre { return quantity.OhmPerMetre(c.per20) }

// PerMetreAt returns the resistance per length at t.
func (c Conductor) PerMetreAt(t quantity.DegC) quantity.OhmPerMetre {
	return quantity.OhmPerMetre(c.per20 * Factor(c.alpha20, t))
}

// Alpha returns the temperature coefficient at 20 °C in 1/K.
func (c Conductor) Alpha() float64 { return c.alpha20 }

// ResistanceAt returns the resistance of one conductor of a length at t.
func (c Conductor) ResistanceAt(length quantity.Metre, t quantity.DegC) quantity.Ohm {
	return quantity.Ohm(float64(length) * c.per20 * Factor(c.alpha20, t))
}

// Measured returns a conductor of a measured or catalogued resistance per
// length at 20 °C, with copper's temperature coefficient.
func Measured(per quantity.OhmPerMetre) Conductor {
	return Conductor{name: perLengthName(per), per20: float64(per), alpha20: Alpha20}
}

// Factor returns R(t)/R(20 °C) = 1 + α20 (t − 20).
func Factor(alpha20 float64, t quantity.DegC) float64 { return 1 + alpha20*(float64(t)-20) }

// AlphaAt converts a coefficient that refers to 20 °C to one that refers to t:
// α_t = α20/(1 + α20 (t − 20)).
func AlphaAt(alpha20 float64, t quantity.DegC) float64 { return alpha20 / Factor(alpha20, t) }

// AlphaOf returns the coefficient at 20 °C of copper with a conductivity given
// as a share of the annealed standard (1 = 100 % IACS). It is proportional to
// the conductivity, because dρ/dT is nearly the same for all coppers
// (Dellinger 1911, IEC 60028).
func AlphaOf(conductivity float64) float64 { return Alpha20 * conductivity }

// AWGDiameter returns the diameter of a gauge in mm: 0.127 mm · 92^((36−n)/39)
// (ASTM B258). Gauge 0 is 1/0, −1 is 2/0 and so on.
func AWGDiameter(gauge int) float64 {
	return 0.127 * math.Pow(92, float64(36-gauge)/39)
}

// AWGArea returns the cross-section of a solid wire of a gauge.
func AWGArea(gauge int) quantity.SquareMM {
	d := AWGDiameter(gauge)
	return quantity.SquareMM(math.Pi / 4 * d * d)
}

// NickelPlated returns how much the resistance rises over plain copper when a
// share (by weight, 0..1) of the wire is nickel, and the coefficient of the
// whole: two metals in parallel.
func NickelPlated(share float64) (factor, alpha20 float64) {
	vn, vc := share/nickelDensity, (1-share)/copperDensity
	fn := vn / (vn + vc) // share of the cross-section
	gc, gn := (1-fn)/Resistivity, fn/nickelResistivity
	return 1 / (Resistivity * (gc + gn)), (gc*Alpha20 + gn*nickelAlpha20) / (gc + gn)
}
