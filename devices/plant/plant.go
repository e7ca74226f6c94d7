package plant

import (
	"fmt"
	"iter"
	"sync"
	"time"

	"ohmdrift/devices"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// Config describes a plant.
type Config struct {
	Seed  uint64
	Links []string // address of each link: tcp://host:port (or host:port) or rtuovertcp://host:port; port 0 = any free one
	Loops []Loop

	Start time.Time     // end of the recorded past: contacts age faster from here; zero = now
	Live  time.Time     // when someone begins to watch: the seed lets one or two things happen shortly after; zero = Start
	Speed float64       // ageing factor of the contacts after Start; 0 = 1
	Cycle time.Duration // how often a device renews its values where its profile does not say; 0 = 250 ms

	Chosen bool     // the seed chooses bad loops
	Faults []Placed // further faults, by index into Loops

	Clock func() time.Time // what the registers show the values of; nil = time.Now
}

// Loop is one transmitter input. It mirrors the loop of a configuration.
type Loop struct {
	diagnostics.Spec
	Link    int // index into Config.Links; −1 = not served
	Unit    uint8
	Base    uint16 // wire address of the loop's first register
	Profile *devices.Profile
}

// Plant is a set of simulated transmitters. Its methods may be called from
// several goroutines.
type Plant struct {
	conf    Config
	climate climate
	clock   func() time.Time
	loops   []*transmitter
	chosen  []Placed
	start   int64 // ns since 1970

	gatewayWait time.Duration

	mu      sync.Mutex // guards Command and Repair against each other, and servers
	servers []*server
	counts  counters
}

// New builds a plant; nothing listens yet. It refuses loops that it could not
// serve: a link that does not exist, registers of two loops that overlap.
func New(conf Config) (*Plant, error) {
	p := &Plant{conf: conf, climate: climate{key: mix(conf.Seed ^ 0x5eed)}, clock: conf.Clock, gatewayWait: gatewayWait}
	if p.clock == nil {
		p.clock = time.Now
	}
	if conf.Start.IsZero() {
		p.conf.Start = p.clock()
	}
	if conf.Live.IsZero() {
		p.conf.Live = p.conf.Start
	}
	if conf.Speed == 0 {
		p.conf.Speed = 1
	}
	if p.conf.Speed < 0 {
		return nil, fmt.Errorf("speed %g: contacts do not grow younger; want more than 0, or 0 for real time", conf.Speed)
	}
	if conf.Cycle <= 0 {
		p.conf.Cycle = 250 * time.Millisecond
	}
	p.start = p.conf.Start.UnixNano()
	for i := range conf.Loops {
		x, err := p.newTransmitter(&conf.Loops[i])
		if err != nil {
			return nil, err
		}
		p.loops = append(p.loops, x)
	}
	if err := p.place(); err != nil {
		return nil, err
	}
	return p, p.checkAddresses()
}

// place puts the faults of the seed and of the config into the loops, then lets
// every loop calibrated with its leads in circuit trim out what it has.
func (p *Plant) place() error {
	if p.conf.Chosen {
		p.chosen = p.choose()
	}
	p.chosen = append(p.chosen, p.conf.Faults...)
	for i := range p.chosen {
		f := &p.chosen[i]
		if f.Loop < 0 || f.Loop >= len(p.loops) {
			return fmt.Errorf("fault %s: loop %d of %d", f.Kind, f.Loop, len(p.loops))
		}
		f.Tag = p.loops[f.Loop].spec.Tag
		if f.Onset.IsZero() {
			f.Onset = p.conf.Start
		}
		p.loops[f.Loop].add(f.Fault)
	}
	for _, x := range p.loops {
		x.calibrate(p.conf.Start.Add(-calibrationAge))
	}
	return nil
}

// calibrationAge is how long before Start each loop was last calibrated.
const calibrationAge = 300 * 24 * time.Hour

// Start returns the end of the recorded past.
func (p *Plant) Start() time.Time { return p.conf.Start }

// Loops returns how many loops the plant has.
func (p *Plant) Loops() int { return len(p.loops) }

// SampleAt returns what the transmitter of a loop (index into Config.Loops)
// reports at t: after the method, the resolution of its registers and its noise.
// A device that does not answer gives an empty sample of quality Comms, one that
// signals a fault of its own quality Device.
func (p *Plant) SampleAt(loop int, t time.Time) measure.Sample { return p.loops[loop].sample(p, t) }

// Past yields the samples of one loop at from, from+step, … before to.
func (p *Plant) Past(loop int, from, to time.Time, step time.Duration) iter.Seq[measure.Sample] {
	return func(yield func(measure.Sample) bool) {
		for t := from; t.Before(to); t = t.Add(step) {
			if !yield(p.loops[loop].sample(p, t)) {
				return
			}
		}
	}
}

// Registers returns what a request for all registers of a loop gets at t: the bytes
// of the wire from the lowest to the highest address of its profile. ok is false
// where the device does not answer with values.
func (p *Plant) Registers(loop int, t time.Time) (b []byte, ok bool) {
	x := p.loops[loop]
	if x.spec.Profile == nil {
		return nil, false
	}
	if _, ok := answers(t.UnixNano(), *x.faults.Load()); !ok {
		return nil, false
	}
	return x.encode(p, t), true
}

// Truth is a loop as it really is at one moment, for tests.
type Truth struct {
	Process quantity.DegC // at the sensor
	Copper  quantity.DegC // of the conductors
	Device  quantity.DegC // of the transmitter's terminals
	Wet     float64       // 0 dry to 1 wet, in a leaky enclosure

	Leads    measure.Leads   // copper, contacts and what voltages look like, Ω; +Inf = open, NaN = the loop lacks it
	Contact  measure.Leads   // of these, the contacts, Ω
	Error    quantity.DeltaC // what wiring, leak and EMF do to the reading, indicated − true; NaN = no reading
	SinceCal quantity.DeltaC // the same, less what the last calibration trimmed out (leads in circuit): what the indication really is off
}

// Truth returns a loop as it really is at t, without noise and resolution.
func (p *Plant) Truth(loop int, t time.Time) Truth { return p.loops[loop].truth(p, t) }

// Degrading lists the faults that the plant was built with, those chosen by the
// seed first. Faults of Command are not among them.
func (p *Plant) Degrading() []Placed { return append([]Placed(nil), p.chosen...) }

// Command adds a fault to a loop from now on (or from its Onset).
func (p *Plant) Command(loop int, f Fault) error {
	if loop < 0 || loop >= len(p.loops) {
		return fmt.Errorf("loop %d of %d", loop, len(p.loops))
	}
	if f.Onset.IsZero() {
		f.Onset = p.clock()
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.loops[loop].add(f)
	return nil
}

// Repair ends every fault of a loop now: terminals made anew.
func (p *Plant) Repair(loop int) error {
	if loop < 0 || loop >= len(p.loops) {
		return fmt.Errorf("loop %d of %d", loop, len(p.loops))
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.loops[loop].end(p.clock().UnixNano())
	return nil
}

// age returns how old in s something is at t that began at onset (ns since
// 1970): real time before Start, Speed times as fast after it.
func (p *Plant) age(onset, t int64) float64 {
	past := min(t, p.start) - min(onset, p.start)
	live := max(t, p.start) - max(onset, p.start)
	return float64(past)/1e9 + float64(live)/1e9*p.conf.Speed
}
