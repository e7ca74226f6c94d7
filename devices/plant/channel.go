package plant

import (
	"math"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// channel is how one quantity leaves the device: in steps of its register. It
// does what encoding and decoding by the profile would do, bit for bit, without
// the bytes: value = raw·mul/div + add.
type channel struct {
	present       bool
	kind          devices.Type
	mul, div, add float64
	step          float64 // declared resolution of a float register, canonical unit; 0 = none
	low, high     float64 // raw range of an integer register, its invalid patterns left out
}

// through returns x as the register can show it; NaN stays NaN, a value beyond
// the register's range is NaN too (the device shows its invalid pattern).
func (c *channel) through(x float64) float64 {
	if !c.present || math.IsNaN(x) || math.IsInf(x, 0) {
		return math.NaN()
	}
	if c.step > 0 {
		x = toStep(x, c.step)
	}
	raw := (x - c.add) * c.div / c.mul
	switch c.kind {
	case devices.Float64:
	case devices.Float32:
		raw = float64(float32(raw))
	default:
		raw = math.RoundToEven(raw)
		if raw < 0 && c.low == 0 { // unsigned: a device shows nothing less than zero
			raw = 0
		}
		if raw < c.low || raw > c.high {
			return math.NaN()
		}
	}
	return raw*c.mul/c.div + c.add
}

// toStep rounds x to a multiple of step; to the decimal as printed where step is
// a decimal such as 0.001.
func toStep(x, step float64) float64 {
	if perUnit := math.Round(1 / step); perUnit > 1 && math.Abs(perUnit*step-1) < 1e-9 {
		return math.Round(x*perUnit) / perUnit
	}
	return math.Round(x/step) * step
}

// channels holds one channel per quantity of a profile.
type channels [devices.StatusWord + 1]channel

// channelsOf prepares the registers of a loop. Without a profile (a story, a
// replay) every quantity is there, in 1 mΩ and 0.01 °C.
func channelsOf(l *Loop) channels {
	var c channels
	if l.Profile == nil {
		for q := range c {
			c[q] = channel{present: true, kind: devices.Float64, mul: 1, div: 1, step: plainStep(devices.Quantity(q))}
		}
	} else {
		for i := range l.Profile.Fields {
			f := &l.Profile.Fields[i]
			c[f.Quantity] = channelOf(f)
		}
	}
	c.hide(l)
	return c
}

func plainStep(q devices.Quantity) float64 {
	switch q {
	case devices.ReadingDegC:
		return 0.01
	case devices.DeviceTempDegC:
		return 0.1
	case devices.EMFVolt:
		return 1e-7
	case devices.CycleCount, devices.StatusWord:
		return 1
	}
	return 0.001
}

func channelOf(f *devices.Field) channel {
	k, b := canonical(f.Unit)
	scale := f.Scale
	if scale == 0 {
		scale = 1
	}
	c := channel{present: true, kind: f.Type, mul: scale * k, div: 1, add: f.Offset*k + b}
	// A scale such as 0.001 is a division by 1000, as devices decodes it.
	if inv := 1 / c.mul; math.Abs(inv) > 1 {
		if r := math.Round(inv); math.Abs(inv-r) < 1e-9*math.Abs(r) {
			c.mul, c.div = 1, r
		}
	}
	c.low, c.high = rawRange(f.Type)
	if f.Resolution*k > math.Abs(scale*k) || f.Type >= devices.Float32 {
		c.step = f.Resolution * k
	}
	return c
}

// rawRange is what an integer register holds, but for the outermost values:
// they are the usual invalid patterns.
func rawRange(t devices.Type) (lo, hi float64) {
	switch t {
	case devices.Int16:
		return math.MinInt16 + 2, math.MaxInt16 - 2
	case devices.Uint16:
		return 0, math.MaxUint16 - 2
	case devices.Int32:
		return math.MinInt32 + 2, math.MaxInt32 - 2
	}
	return 0, math.MaxUint32 - 2
}

// hide removes what the loop's wiring lacks and what the transmitter does not
// show of its leads.
func (c *channels) hide(l *Loop) {
	has := [measure.LeadCount]bool{}
	for _, lead := range measure.LeadsOf(l.Wires) {
		has[lead] = true
	}
	show := [measure.LeadCount]bool{}
	switch l.Reports {
	case wiring.AllLeads:
		show = has
	case wiring.PairsOnly:
		show[measure.B1], show[measure.B2] = has[measure.B1], has[measure.B2]
	}
	for lead := measure.A1; lead <= measure.B2; lead++ {
		c[devices.LeadA1+devices.Quantity(lead)].present = c[devices.LeadA1+devices.Quantity(lead)].present && show[lead]
	}
	loops := l.Reports == wiring.LoopsOnly || l.Reports == wiring.AllLeads && l.Profile != nil
	c[devices.LoopA].present = c[devices.LoopA].present && loops && has[measure.A2]
	c[devices.LoopB].present = c[devices.LoopB].present && loops && has[measure.B2]
	pairs := l.Profile != nil && l.Reports <= wiring.PairsOnly
	for q := devices.PairA1A2; q <= devices.PairA2B2; q++ {
		needsA2 := q == devices.PairA1A2 || q == devices.PairA2B1 || q == devices.PairA2B2
		needsB2 := q == devices.PairB1B2 || q == devices.PairA1B2 || q == devices.PairA2B2
		c[q].present = c[q].present && pairs && (!needsA2 || has[measure.A2]) && (!needsB2 || has[measure.B2])
	}
	if l.Profile == nil {
		c[devices.Sensor2Ohm].present, c[devices.EMFVolt].present = false, false
	}
}

// canonical returns k and b of: value in Ω, °C or V = k·x + b.
func canonical(unit string) (k, b float64) {
	switch unit {
	case "mOhm", "mV":
		return 1e-3, 0
	case "uOhm", "uV":
		return 1e-6, 0
	case "kOhm":
		return 1e3, 0
	case "degF":
		return 1 / 1.8, -32 / 1.8
	case "K":
		return 1, -273.15
	}
	return 1, 0
}
