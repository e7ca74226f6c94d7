package plant

import (
	"math"
	"time"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// state is one loop at one moment, before anything is measured.
type state struct {
	circuit
	weather
	process float64
	copperC float64
	deviceC float64
	contact [measure.LeadCount]float64
	swap    [2]bool // the leads of side A, of side B

	added  [measure.LeadCount]float64 // Ω of copper at 20 °C beyond the cable
	warmer [measure.LeadCount]float64 // K beyond the cable
	shift  float64                    // Ω that the device adds to each lead
	coarse float64                    // Ω, steps of the leads; 0 = those of the registers
	burst  float64                    // Ω, noise of all leads and of the sensor value
	volt   [measure.LeadCount]float64 // V in a lead that the input takes for resistance
}

// state computes the loop at t (ns since 1970).
func (x *transmitter) state(p *Plant, t int64, faults []fault) state {
	sec := float64(t) / 1e9
	s := state{weather: p.climate.at(sec), contact: x.contact0}
	s.process = x.process.at(sec, s.weather)
	s.copperC = x.around.copper(s.weather, s.process)
	s.deviceC = x.around.device(s.weather)
	s.element = float64(x.sensor.Forward(quantity.DegC(s.process)))
	s.shunt = math.Inf(1)
	for i := range faults {
		if f := &faults[i]; f.standing(t) {
			x.apply(f, &s, sec, p.age(f.onset, t))
		}
	}
	s.leads = x.at(&s)
	x.charge(&s)
	return s
}

// charge puts the voltages of the leads into the circuit: where an input drives
// its current through a lead and measures the voltage, a voltage looks like
// resistance. A four-wire reading is free of the leads, not of a voltage in those
// that measure: here a2 and b2.
func (x *transmitter) charge(s *state) {
	for lead, v := range s.volt {
		s.leads[lead] += v / x.current
	}
	if x.spec.Wires == measure.LeadCount && x.spec.Method != wiring.FourWireLoop {
		s.emf += s.volt[measure.A2] + s.volt[measure.B2]
	}
}

// headShare is how much of the way from the box to the process the head's
// temperature is; our choice.
const headShare = 0.6

// apply puts one standing fault of the given age (s) into the state.
func (x *transmitter) apply(f *fault, s *state, sec, age float64) {
	switch f.Kind {
	case Short:
		switch {
		case x.spec.Wires == 2:
			s.shortAB = true
		case f.Lead <= measure.A2 && x.has[measure.A2]:
			s.shortA = true
		default:
			s.shortB = true
		}
	case Swap:
		s.swap[f.Lead/2] = true
	case EMF:
		s.emf += float64(f.Volt) * grown(age, f.life) * (0.7 + 0.3*s.sun)
	case Junction:
		s.volt[f.Lead] += float64(f.Volt) * grown(age, f.life) * headShare * (s.process - s.copperC)
	case Leak:
		// The conductance between the terminals: a thirtieth when dry.
		g := grown(age, f.life) * (1 + 29*s.wet) / 30 / float64(f.Shunt)
		s.shunt = 1 / (1/s.shunt + g)
	case Sound, Frozen, Exception, Silent, Flaky: // nothing in the circuit
	default:
		if f.Kind.Harmless() {
			x.disturb(f, s, sec, age)
			return
		}
		if x.has[f.Lead] {
			wet := s.wet
			if f.Spell > 0 {
				wet = 0.5 + 0.5*wander(f.key, sec, f.Spell.Seconds(), chSlot)
			}
			if r := f.contact(sec, age, s.copperC, wet); r < openOhm {
				s.contact[f.Lead] += r
			} else {
				s.contact[f.Lead] = math.Inf(1)
			}
		}
	}
}

// grown is the share of its size that a fault has reached.
func grown(age, life float64) float64 {
	if life <= 0 {
		return 1
	}
	return clamp(age/life, 0, 1)
}

// moment returns the start of the device cycle of t, or the onset of a freeze.
func (x *transmitter) moment(t int64, faults []fault) int64 {
	for i := range faults {
		if f := &faults[i]; f.Kind == Frozen && f.standing(t) {
			t = f.onset
		}
	}
	return t - t%x.cycle
}

// noAnswerThere is the exception of a gateway whose target failed to respond.
const noAnswerThere = 0x0b

// answers reports whether the device answers with values at t; if not, with
// which exception code, 0 for silence.
func answers(t int64, faults []fault) (code uint8, ok bool) {
	for i := range faults {
		f := &faults[i]
		if !f.standing(t) {
			continue
		}
		switch f.Kind {
		case Silent:
			return 0, false
		case Exception:
			return max(f.Code, 1), false
		case Flaky:
			if f.flaky(t) {
				return noAnswerThere, false
			}
		}
	}
	return 0, true
}

// sample is what the transmitter reports at t.
func (x *transmitter) sample(p *Plant, at time.Time) measure.Sample {
	faults := *x.faults.Load()
	now := at.UnixNano()
	t := x.moment(now, faults)
	if _, ok := answers(now, faults); !ok {
		return measure.Empty(at, measure.Comms)
	}
	s := x.state(p, t, faults)
	cycle := uint64(t / x.cycle)
	x.fret(&s, cycle)
	m := x.solve(&s.circuit)
	out := measure.Empty(at, measure.Good)
	x.reportLeads(&out, &s, faults, cycle)
	x.reportReading(&out, &s, m, cycle)
	out.DeviceTemp = quantity.DegC(x.channels[devices.DeviceTempDegC].through(s.deviceC + 0.02*gauss(x.key, cycle, chDevice)))
	if c := &x.channels[devices.CycleCount]; c.present {
		out.Cycle = float64(cycle % 60000)
	}
	if !m.ok || s.anyOpen(x) {
		out.Quality = measure.Device
	}
	return out
}

// anyOpen reports whether a lead of the loop is open: the device's own
// diagnostics see that.
func (s *state) anyOpen(x *transmitter) bool {
	for i, r := range s.leads {
		if x.has[i] && math.IsInf(r, 1) {
			return true
		}
	}
	return false
}

// leakFlicker is the noise that a damp path puts on a lead, as a share of what it
// takes off the element (R²/Rs): a thirtieth of what it puts on the sensor value, for
// less voltage drives it; our choice.
const leakFlicker = 0.006

// flicker returns the noise that a leak puts on every lead, Ω.
func (s *state) flicker() float64 {
	if math.IsInf(s.shunt, 1) {
		return 0
	}
	return leakFlicker * s.element * s.element / s.shunt
}

// reportLeads fills in what the device shows of its leads.
func (x *transmitter) reportLeads(out *measure.Sample, s *state, faults []fault, cycle uint64) {
	c := &x.channels
	seen := s.terminals()
	for lead := range seen {
		if x.has[lead] {
			noise := math.Hypot(x.leadNoise, math.Hypot(s.burst, s.flicker()))
			seen[lead] = s.coarser(seen[lead] + x.offset[lead] + s.shift + noise*gauss(x.key, cycle, chLead+uint64(lead)))
		}
	}
	for side, swapped := range s.swap {
		if swapped {
			seen[2*side], seen[2*side+1] = seen[2*side+1], seen[2*side]
		}
	}
	for lead := range seen {
		r := seen[lead]
		for i := range faults {
			if f := &faults[i]; f.Kind == Garbled && f.standing(out.At.UnixNano()) {
				r = f.garble(r, int64(lead), out.At.UnixNano())
			}
		}
		out.Leads[lead] = quantity.Ohm(c[devices.LeadA1+devices.Quantity(lead)].through(r))
	}
	out.LoopA = quantity.Ohm(c[devices.LoopA].through(seen[measure.A1] + seen[measure.A2]))
	out.LoopB = quantity.Ohm(c[devices.LoopB].through(seen[measure.B1] + seen[measure.B2]))
	if !c[devices.PairA1B1].present {
		return
	}
	for q, r := range s.pairs() {
		out.Pairs[q] = quantity.Ohm(c[devices.PairA1A2+devices.Quantity(q)].through(r + x.leadNoise*gauss(x.key, cycle, chPair+uint64(q))))
	}
}

// reportReading fills in sensor resistance and temperature.
func (x *transmitter) reportReading(out *measure.Sample, s *state, m measured, cycle uint64) {
	c := &x.channels
	noise := x.sensorNoise * gauss(x.key, cycle, chSensor)
	if s.burst > 0 {
		noise += s.burst * gauss(x.key, cycle, chBurst)
	}
	if s.shunt < 1e6 { // a damp path is never quiet
		noise += 20 / s.shunt * s.element * gauss(x.key, cycle, chLeak)
	}
	after := m.after + noise
	shown := after
	switch {
	case x.spec.SensorIs == wiring.Raw:
		shown = m.raw + noise
	case x.spec.SensorIs == wiring.ElementOnly && !math.IsNaN(after):
		shown = s.seen() + noise
	}
	out.Sensor = quantity.Ohm(c[devices.SensorOhm].through(shown))
	out.Sensor2 = quantity.Ohm(c[devices.Sensor2Ohm].through(shown - 2*s.emf/x.current))
	reading := float64(x.sensor.Inverse(quantity.Ohm(after), 0)) - x.trim
	out.Reading = quantity.DegC(c[devices.ReadingDegC].through(reading))
	out.EMF = quantity.Volt(c[devices.EMFVolt].through(s.emf + 1e-7*gauss(x.key, cycle, chEMF)))
}

// truth is the loop as it is at t.
func (x *transmitter) truth(p *Plant, at time.Time) Truth {
	faults := *x.faults.Load()
	s := x.state(p, x.moment(at.UnixNano(), faults), faults)
	out := Truth{
		Process: quantity.DegC(s.process), Copper: quantity.DegC(s.copperC), Device: quantity.DegC(s.deviceC), Wet: s.wet,
		Leads: measure.NoLeads(), Contact: measure.NoLeads(),
	}
	for i := range s.leads {
		if x.has[i] {
			out.Leads[i], out.Contact[i] = quantity.Ohm(s.leads[i]), quantity.Ohm(s.contact[i])
		}
	}
	e := x.readingError(&s)
	out.Error, out.SinceCal = quantity.DeltaC(e), quantity.DeltaC(e-x.trim)
	return out
}
