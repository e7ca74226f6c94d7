package plant

import (
	"math"
	"time"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// Kind is what is wrong with a loop. The comment of each kind says what Size
// and Life of its Fault mean.
type Kind string

// The kinds of faults.
const (
	// Sound is no fault at all: the kind of a Story about a good plant.
	Sound Kind = "sound"
	// Linear contact growth (creep, loosening): Size Ω after Life, then on.
	Linear Kind = "linear"
	// Film growth limited by diffusion: Size·√(age/Life).
	Film Kind = "film"
	// TakeOff is a shrinking contact spot: a contact of Size Ω becomes
	// Size/(1 − √(age/Life)): flat for long, then it runs away. Open at Life.
	TakeOff Kind = "take-off"
	// Step at Onset by Size Ω; with a Life it then grows by Size again per Life.
	Step Kind = "step"
	// Intermittent contact: short excursions of about Size Ω, more often as age
	// approaches Life.
	Intermittent Kind = "intermittent"
	// Thermal is a loose clamp that opens with warmth: at 20 °C Size Ω after
	// Life, 4 % of it more per kelvin (copper: 0.39 %).
	Thermal Kind = "thermal"
	// Moisture in an enclosure: up to Size Ω (after Life) when it is wet, a tenth
	// of that when dry. With a Spell the enclosure is wet and dry for about so long
	// at a time; else it follows the weather of the day.
	Moisture Kind = "moisture"
	// Noise of one contact: its scatter grows to Size Ω (standard deviation) in Life.
	Noise Kind = "noise"
	// Open lead.
	Open Kind = "open"
	// Short between the two terminals of the lead's side at the transmitter; on a
	// two-wire loop between a1 and b1. A jumper left on a four-wire input is this.
	Short Kind = "short"
	// Swap of the two leads of the lead's side at the transmitter.
	Swap Kind = "swap"
	// EMF is a thermal EMF in the loop: Volt at its strongest; Life is how long it
	// takes to get there.
	EMF Kind = "thermal-emf"
	// Junction is a piece of another metal in one lead between head and box: Volt
	// for each kelvin between the two (after Life), of either sign. The input takes
	// it for resistance.
	Junction Kind = "junction"
	// Leak is a damp insulation: Shunt Ω across the element when wet (after Life),
	// thirty times that when dry. Its current flickers, in every lead.
	Leak Kind = "leak"
	// Frozen registers: the device repeats the values of Onset.
	Frozen Kind = "frozen"
	// Exception: the device answers with the Modbus exception Code.
	Exception Kind = "exception"
	// Silent: the device does not answer. The gateway before it gives up after 2 s
	// and says so by an exception.
	Silent Kind = "silent"
)

// Kinds lists every kind: Sound, then the faults, then the harmless ones.
func Kinds() []Kind {
	return append([]Kind{
		Sound, Linear, Film, TakeOff, Step, Intermittent, Thermal, Moisture, Noise,
		Open, Short, Swap, EMF, Junction, Leak, Frozen, Exception, Silent,
	}, harmless()...)
}

// InLead reports whether a fault of this kind sits in one lead, so that
// Fault.Lead says where.
func (k Kind) InLead() bool {
	switch k {
	case Linear, Film, TakeOff, Step, Intermittent, Thermal, Moisture, Noise, Open, Short, Swap, Junction, Extended, Settling, HotLine, HotCore:
		return true
	}
	return false
}

// Fault is one thing that is wrong with one loop from Onset to End.
type Fault struct {
	Kind  Kind
	Lead  measure.Lead    // of the faults that sit in a lead
	Onset time.Time       // zero = the moment of Command
	End   time.Time       // zero = it stays
	Size  quantity.Ohm    // by kind, Ω
	Life  time.Duration   // by kind; zero = full size at once
	Spell time.Duration   // of Moisture
	Volt  quantity.Volt   // of EMF, and of Junction for each kelvin
	Shunt quantity.Ohm    // of Leak
	Warm  quantity.DeltaC // of HotLine and HotCore
	Code  uint8           // Modbus exception code of Exception, from 1
}

// Placed is a fault and the loop (index into Config.Loops) that has it.
type Placed struct {
	Loop int
	Tag  string
	Box  string // the enclosure, where the cause sits in a junction box
	Fault
}

// standing reports whether f is present at t (ns since 1970).
func (f *fault) standing(t int64) bool { return t >= f.onset && t < f.end }

// fault is a Fault prepared for the inner loop: times as ns since 1970.
type fault struct {
	Fault
	onset, end int64
	life       float64 // s
	key        uint64
}

func prepare(f Fault, key uint64) fault {
	p := fault{Fault: f, onset: f.Onset.UnixNano(), end: farFuture, life: f.Life.Seconds()}
	if !f.End.IsZero() {
		p.end = f.End.UnixNano()
	}
	p.key = mix(key ^ uint64(p.onset) ^ hashString(string(f.Kind)) ^ uint64(f.Lead)<<56)
	return p
}

const farFuture = math.MaxInt64
