package plant

import (
	"fmt"
	"math"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// StoryLoops is how many loops a Story has: one with the fault, the others sound.
const StoryLoops = 4

// StoryPast is the recorded past of a Story: the fault begins at its middle.
const StoryPast = 120 * 24 * time.Hour

// Story returns a plant of four loops in one junction box, all with the given
// spec but for their tags (TT-1, TT-2, …). TT-1 (loop 0) has one fault of the
// kind from the middle of the past on (or one of the harmless kinds, which a
// detector must not take for a fault), of a size that matters: contacts reach 0.1
// to 0.5 Ω. The other three are sound; a Moisture story puts the fault into three
// of the four. Degrading tells the lead. Nothing is served. Use StorySpec for a
// usual loop, and Truth to know what a detector should find.
//
//	p, err := plant.Story(plant.TakeOff, 1, start, plant.StorySpec(wiring.FourWire, wiring.AllLeads))
//	for s := range p.Past(0, start.Add(-plant.StoryPast), start, 10*time.Minute) { … }
func Story(kind Kind, seed uint64, start time.Time, spec diagnostics.Spec) (*Plant, error) {
	conf := Config{Seed: seed, Start: start}
	for i := range StoryLoops {
		l := Loop{Spec: spec, Link: -1}
		l.Tag, l.Box = fmt.Sprintf("TT-%d", i+1), "JB-1"
		conf.Loops = append(conf.Loops, l)
	}
	if kind == Sound {
		return New(conf)
	}
	f, err := storyFault(kind)
	if err != nil {
		return nil, err
	}
	bad := 1
	box := ""
	if kind == Moisture {
		bad, box = 3, "JB-1"
	}
	f.Onset = start.Add(-StoryPast / 2)
	f.Lead = telling(&conf.Loops[0], uniform(mix(seed), 0, chStatic))
	for i := range bad {
		conf.Faults = append(conf.Faults, Placed{Loop: i, Box: box, Fault: f})
	}
	return New(conf)
}

// storyFault returns a fault of the kind that has most of its effect within half
// of StoryPast.
func storyFault(kind Kind) (Fault, error) {
	half := StoryPast / 2
	f := Fault{Kind: kind, Life: half}
	switch kind {
	case Linear, Film, Thermal:
		f.Size = 0.2
	case Moisture:
		f.Size, f.Life = 0.3, half/4
	case Step:
		f.Size = 0.12
	case TakeOff:
		f.Size, f.Life = 0.03, half*23/20 // age/life is 0.87 at the end
	case Intermittent:
		f.Size = 0.5
	case Noise:
		f.Size = 0.03
	case Junction:
		f.Volt = 2e-6
	case EMF:
		f.Volt, f.Life = 60e-6, 5*hours24
	case Leak:
		f.Shunt, f.Life = 40e3, half/2
	case Exception:
		f.Code = 4
	case Extended, Recabled:
		f.Size = 0.15
	case Settling:
		f.Size, f.Life = 0.02, 10*hours24
	case HotLine, HotCore:
		f.Warm = 40
	case SensorDrift:
		f.Size = 0.1
	case Recalibrated, Coarser:
		f.Size = 0.01
	case Bursts:
		f.Size = 0.02
	case Open, Short, Swap, Frozen, Silent, Flaky, Garbled:
	default:
		return f, fmt.Errorf("kind %q: want one of %v", kind, Kinds())
	}
	return f, nil
}

// StorySpec returns a Pt100 of class A on 40 m of cable (0.5 Ω a lead), limit
// ±0.5 °C, polled every 10 minutes, never calibrated, indoors, with the given
// method and report level. The number of wires follows the method; 4 where the
// method leaves it open.
func StorySpec(m wiring.Method, r wiring.Reports) diagnostics.Spec {
	pt100, err := rtd.ParseSensor("Pt100")
	if err != nil {
		panic("plant: Pt100: " + err.Error()) // the standard's own sensor
	}
	wires := m.Wires()
	if wires == 0 {
		wires = measure.LeadCount
	}
	none := math.NaN()
	return diagnostics.Spec{
		Site: "larkfield", Area: "test", Service: "steady", Wires: wires, Method: m, Reports: r,
		Fixed: quantity.Ohm(none), Sensor: pt100, Class: rtd.ClassA,
		LimitHigh: 0.5, LimitLow: -0.5, LeadLimit: 10, Calibrated: diagnostics.CalibratedNever,
		Cable20: 0.5, CableM: 40, Balance: "measured", Interval: 10 * time.Minute,
		Accuracy: diagnostics.Accuracy{
			Lead: 0.005, LeadResolution: 0.001, Sensor: 0.02, SensorRes: 0.001, Gain: none, Offset: quantity.Ohm(none),
			EMF: quantity.Volt(none), Current: 0.0005, SelfHeating: quantity.DeltaC(none), Instrument: quantity.DeltaC(none),
		},
	}
}
