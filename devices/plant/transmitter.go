package plant

import (
	"fmt"
	"math"
	"sync/atomic"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// transmitter is one loop with everything that does not change with time.
type transmitter struct {
	spec    *Loop
	key     uint64
	sensor  rtd.Sensor
	process process
	around  surroundings
	cycle   int64 // ns

	has      [measure.LeadCount]bool
	copper20 [measure.LeadCount]float64 // Ω at 20 °C, conductor alone
	contact0 [measure.LeadCount]float64 // Ω, the sound contacts of its terminals
	sunny    [measure.LeadCount]float64 // K this lead is warmer than its cable in full sun
	current  float64                    // A
	trim     float64                    // K taken off the reading at calibration

	offset      [measure.LeadCount]float64 // Ω, the device's systematic error of each lead
	leadNoise   float64                    // Ω, standard deviation
	sensorNoise float64                    // Ω

	channels channels
	faults   atomic.Pointer[[]fault] // replaced whole, never written
}

const copperPerK = 0.00393 // IEC 60028: annealed copper at 20 °C

func (p *Plant) newTransmitter(l *Loop) (*transmitter, error) {
	key := mix(p.conf.Seed ^ hashString(l.Tag))
	leads := measure.LeadsOf(l.Wires)
	if leads == nil {
		return nil, fmt.Errorf("%s: %d wires; want 2, 3 or 4", l.Tag, l.Wires)
	}
	if !l.Sensor.Valid() {
		return nil, fmt.Errorf("%s: no sensor; want one such as Pt100", l.Tag)
	}
	box := key
	if l.Box != "" {
		box = mix(p.conf.Seed ^ hashString(l.Box))
	}
	x := &transmitter{
		spec: l, key: key, sensor: l.Sensor, cycle: int64(p.conf.Cycle),
		process: processOf(l, p.conf.Seed), around: surroundingsOf(l, key, box), channels: channelsOf(l),
	}
	if l.Profile != nil && l.Profile.Renew > 0 {
		x.cycle = int64(l.Profile.Renew)
	}
	for _, lead := range leads {
		x.wire(lead)
	}
	x.instrument(&l.Accuracy)
	x.faults.Store(&[]fault{})
	return x, nil
}

// wire gives one lead its conductor and its sound contacts.
func (x *transmitter) wire(lead measure.Lead) {
	l, n := x.spec, uint64(lead)
	nominal := float64(l.Cable20)
	if !quantity.Known(l.Cable20) || nominal <= 0 {
		nominal = 0.01 * float64(l.CableM) // about 1.5 mm² of copper
		if !quantity.Known(l.CableM) || l.CableM <= 0 {
			nominal = 0.5
		}
	}
	// Cores of one cable differ by a fraction of a per cent; a long one that
	// nobody checked by two (common practice).
	spread := 0.003
	if l.Balance == "" && l.CableM > 9 {
		spread = 0.012
	}
	x.has[lead] = true
	x.contact0[lead] = min(between(x.key, 10+n, 0.004, 0.010), nominal/2)
	x.copper20[lead] = (nominal - x.contact0[lead]) * (1 + between(x.key, 20+n, -spread, spread))
	if l.Outdoor {
		x.sunny[lead] = between(x.key, 30+n, 0, 0.4)
	}
}

// instrument gives the device its own errors, within its data sheet.
func (x *transmitter) instrument(a *diagnostics.Accuracy) {
	limit := known(a.Lead, 0.005)
	for lead := range x.offset {
		x.offset[lead] = limit * between(x.key, 40+uint64(lead), -0.5, 0.5)
	}
	x.leadNoise = max(0.3*known(a.LeadResolution, 0.001), 0.0004)
	x.sensorNoise = max(0.3*known(a.SensorRes, 0.001), 0.0008)
	x.current = known(a.Current, 0.0005)
}

func known[T ~float64](v T, otherwise float64) float64 {
	if !quantity.Known(v) || v <= 0 {
		return otherwise
	}
	return float64(v)
}

// calibrate trims out the reading error that the loop has at t, where it is
// calibrated with its leads in circuit.
func (x *transmitter) calibrate(t time.Time) {
	if x.spec.Calibrated != diagnostics.LeadsIn {
		return
	}
	s := state{copperC: 20, contact: x.contact0}
	s.element = float64(x.sensor.Forward(quantity.DegC(x.process.level)))
	s.shunt = math.Inf(1)
	s.leads = x.at(&s)
	if e := x.readingError(&s); !math.IsNaN(e) {
		x.trim = e
	}
}

// at returns the leads of a state: copper at its temperature, and contacts.
func (x *transmitter) at(s *state) (leads [measure.LeadCount]float64) {
	for i := range leads {
		if x.has[i] {
			warm := s.copperC + x.sunny[i]*s.sun + s.warmer[i]
			leads[i] = (x.copper20[i]+s.added[i])*(1+copperPerK*(warm-20)) + s.contact[i]
		}
	}
	return leads
}

func (x *transmitter) add(f Fault) {
	old := *x.faults.Load()
	list := append(append([]fault(nil), old...), prepare(f, x.key))
	x.faults.Store(&list)
}

func (x *transmitter) end(t int64) {
	list := append([]fault(nil), *x.faults.Load()...)
	for i := range list {
		list[i].end = min(list[i].end, t)
	}
	x.faults.Store(&list)
}

// solve runs the loop's method over a circuit.
func (x *transmitter) solve(c *circuit) measured {
	fixed := 0.0
	if x.spec.Method == wiring.TwoWireFixed && quantity.Known(x.spec.Fixed) {
		fixed = float64(x.spec.Fixed)
	}
	return c.solve(x.spec.Method, x.spec.Wires, fixed, x.current)
}

// readingError returns what the circuit does to the reading, indicated − true, in
// K; NaN without a reading. A drift of the element itself is no part of it.
func (x *transmitter) readingError(s *state) float64 {
	indicated := x.sensor.Inverse(quantity.Ohm(x.solve(&s.circuit).after), 0)
	return float64(indicated - x.sensor.Inverse(quantity.Ohm(s.element), 0))
}
