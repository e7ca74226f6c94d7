package devices

import (
	"fmt"
	"math"
	"time"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// Decoder is a profile made ready for the hot path: it decodes without
// allocating, unless something is wrong and a text says what.
type Decoder struct {
	profile  *Profile
	requests []Request
	steps    []step
	cycles   int // steps that read a cycle counter
}

// step decodes one field from one request's answer.
type step struct {
	field   *Field
	request int
	offset  int // in bytes
	lin     linear
}

// Compile checks the profile and returns its decoder.
func (p *Profile) Compile() (*Decoder, error) {
	if err := p.Validate(); err != nil {
		return nil, fmt.Errorf("profile %s: %w", p.Name, err)
	}
	d := &Decoder{profile: p, requests: p.Plan()}
	for i := range p.Fields {
		f := &p.Fields[i]
		s := step{field: f, request: d.find(f)}
		s.offset = int(f.Addr-d.requests[s.request].Addr) * 2
		s.lin, _ = f.linear()
		d.steps = append(d.steps, s)
		if f.Quantity == CycleCount {
			d.cycles++
		}
	}
	return d, nil
}

func (d *Decoder) find(f *Field) int {
	for i, r := range d.requests {
		if inside(f, Block{r.Addr, r.Count}) {
			return i
		}
	}
	return 0
}

// Requests returns what must be read for one loop, in this order.
func (d *Decoder) Requests() []Request { return d.requests }

// Profile returns the profile that was compiled.
func (d *Decoder) Profile() *Profile { return d.profile }

// TellsCycle reports whether the device says which of its measuring cycles the
// values come from.
func (d *Decoder) TellsCycle() bool { return d.cycles > 0 }

// CycleRequest returns the index of the request that holds the cycle counter, 0
// where there is none.
func (d *Decoder) CycleRequest() int {
	for i := range d.steps {
		if d.steps[i].field.Quantity == CycleCount {
			return d.steps[i].request
		}
	}
	return 0
}

// CycleOf returns the bits of the first cycle counter in an answer to the
// CycleRequest.
func (d *Decoder) CycleOf(block []byte) uint64 {
	for i := range d.steps {
		if s := &d.steps[i]; s.field.Quantity == CycleCount {
			return s.field.Raw(block[s.offset:])
		}
	}
	return 0
}

// Decode fills r with what the answers hold: blocks[i] are the register bytes
// of Requests()[i], at least Count registers. A primary quantity (lead, loop,
// pair, sensor, reading) with one of its invalid values makes the sample
// invalid and stays absent, the others keep their values. The status word has
// the last word on quality. Two cycle counters that differ make it skewed.
func (d *Decoder) Decode(blocks [][]byte, at time.Time, r *Reading) {
	r.Sample = measure.Empty(at, measure.Good)
	r.Problem, r.DeviceChanged = "", ""
	cycle := math.NaN()
	for i := range d.steps {
		s := &d.steps[i]
		src := blocks[s.request]
		if len(src) < s.offset+2*int(s.field.Registers()) {
			r.Degrade(measure.Comms, fmt.Sprintf("%s: the answer ends before its register", s.field.Quantity))
			return
		}
		src = src[s.offset:]
		if s.field.Quantity == StatusWord {
			d.status(s.field, src, r)
			continue
		}
		v, ok := s.field.get(src, s.lin)
		if !ok && s.field.Quantity.primary() {
			r.Degrade(measure.Invalid, "")
		}
		if s.field.Quantity == CycleCount {
			if v != cycle && !math.IsNaN(cycle) {
				r.Degrade(measure.Skewed, "cycle counters differ: the values are of two measuring cycles")
			}
			cycle = v
		}
		s.field.Quantity.store(&r.Sample, v)
	}
	if r.Quality == measure.Invalid && r.Problem == "" {
		r.Problem = d.invalids(blocks)
	}
}

// invalids names the primary fields that hold no value; it runs only when one
// does.
func (d *Decoder) invalids(blocks [][]byte) string {
	text := "the device reports no value for"
	for i := range d.steps {
		s := &d.steps[i]
		if !s.field.Quantity.primary() {
			continue
		}
		src := blocks[s.request][s.offset:]
		if _, ok := s.field.get(src, s.lin); !ok {
			text += fmt.Sprintf(" %s (raw %#x)", s.field.Quantity, s.field.Raw(src))
		}
	}
	return text
}

func (d *Decoder) status(f *Field, src []byte, r *Reading) {
	raw := f.Raw(src)
	for _, b := range f.Status {
		if raw&b.Mask == b.Equals {
			r.Degrade(measure.Quality(b.Quality), b.Text)
		}
	}
}

// Degrade sets a quality that is not good; what the device says about itself
// outranks what its values look like, and the first problem is the one told.
func (r *Reading) Degrade(q measure.Quality, problem string) {
	if q == measure.Good {
		return
	}
	if r.Quality == measure.Good || q == measure.Device || (q == measure.Skewed && r.Quality == measure.Invalid) {
		r.Quality = q
		if problem != "" {
			r.Problem = problem
		}
	}
	if r.Problem == "" {
		r.Problem = problem
	}
}

// Decode decodes one loop's answers, blocks[i] to Plan()[i], for callers that
// do not mind compiling the profile each time.
func (p *Profile) Decode(blocks [][]byte, at time.Time) (Reading, error) {
	d, err := p.Compile()
	if err != nil {
		return Reading{}, err
	}
	if len(blocks) != len(d.requests) {
		return Reading{}, fmt.Errorf("profile %s: %d answers to %d requests", p.Name, len(blocks), len(d.requests))
	}
	var r Reading
	d.Decode(blocks, at, &r)
	return r, nil
}

// primary reports whether a loop is not well described without the quantity.
func (q Quantity) primary() bool {
	return (q >= LeadA1 && q <= SensorOhm) || q == ReadingDegC
}

// pairs maps the pair quantities to their place in a sample.
var pairs = [...]measure.Pair{
	0: measure.PairA1A2, PairB1B2 - PairA1A2: measure.PairB1B2,
	PairA1B1 - PairA1A2: measure.PairA1B1, PairA1B2 - PairA1A2: measure.PairA1B2,
	PairA2B1 - PairA1A2: measure.PairA2B1, PairA2B2 - PairA1A2: measure.PairA2B2,
}

func (q Quantity) store(s *measure.Sample, v float64) {
	switch q {
	case LeadA1, LeadA2, LeadB1, LeadB2:
		s.Leads[q-LeadA1] = quantity.Ohm(v)
	case LoopA:
		s.LoopA = quantity.Ohm(v)
	case LoopB:
		s.LoopB = quantity.Ohm(v)
	case PairA1A2, PairB1B2, PairA1B1, PairA1B2, PairA2B1, PairA2B2:
		s.Pairs[pairs[q-PairA1A2]] = quantity.Ohm(v)
	case SensorOhm:
		s.Sensor = quantity.Ohm(v)
	case Sensor2Ohm:
		s.Sensor2 = quantity.Ohm(v)
	case ReadingDegC:
		s.Reading = quantity.DegC(v)
	case DeviceTempDegC:
		s.DeviceTemp = quantity.DegC(v)
	case EMFVolt:
		s.EMF = quantity.Volt(v)
	case CycleCount:
		s.Cycle = v
	}
}

// Of returns the quantity's value in a sample, in its canonical unit; NaN when
// absent and for the status word, which is no quantity of a sample.
func (q Quantity) Of(s *measure.Sample) float64 {
	switch q {
	case LeadA1, LeadA2, LeadB1, LeadB2:
		return float64(s.Leads[q-LeadA1])
	case LoopA:
		return float64(s.LoopA)
	case LoopB:
		return float64(s.LoopB)
	case PairA1A2, PairB1B2, PairA1B1, PairA1B2, PairA2B1, PairA2B2:
		return float64(s.Pairs[pairs[q-PairA1A2]])
	case SensorOhm:
		return float64(s.Sensor)
	case Sensor2Ohm:
		return float64(s.Sensor2)
	case ReadingDegC:
		return float64(s.Reading)
	case DeviceTempDegC:
		return float64(s.DeviceTemp)
	case EMFVolt:
		return float64(s.EMF)
	case CycleCount:
		return s.Cycle
	}
	return math.NaN()
}

// Encode writes every field of the profile into registers, indexed by wire
// address relative to the loop's base times two. The status word takes status.
// It is what a simulated transmitter serves.
func (p *Profile) Encode(s *measure.Sample, status uint64, registers []byte) error {
	for i := range p.Fields {
		f := &p.Fields[i]
		at := int(f.Addr) * 2
		if len(registers) < at+2*int(f.Registers()) {
			return fmt.Errorf("profile %s: %s lies outside the %d registers given", p.Name, f.Quantity, len(registers)/2)
		}
		if f.Quantity == StatusWord {
			f.PutRaw(registers[at:], status)
			continue
		}
		if err := f.Put(registers[at:], f.Quantity.Of(s)); err != nil {
			return fmt.Errorf("profile %s: %w", p.Name, err)
		}
	}
	return nil
}
