package plant

import (
	"context"
	"errors"
	"io"
	"log"
	"math"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"github.com/simonvetter/modbus"
	"pgregory.net/rapid"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// floats is a profile in float32 with swapped words, input registers.
func floats() *devices.Profile {
	p := &devices.Profile{Name: "floats", Table: devices.Input}
	for i, q := range []devices.Quantity{
		devices.LeadA1, devices.LeadA2, devices.LeadB1, devices.LeadB2, devices.SensorOhm, devices.ReadingDegC, devices.DeviceTempDegC,
	} {
		p.Fields = append(p.Fields, devices.Field{Quantity: q, Addr: uint16(10 + 2*i), Type: devices.Float32, Order: devices.CDAB, Resolution: 0.001})
	}
	return p
}

// integers is a profile in scaled integers, holding registers, with a status
// word, a cycle counter and a gap between two blocks.
func integers() *devices.Profile {
	field := func(q devices.Quantity, addr uint16, t devices.Type, scale float64, unit string, invalid uint64) devices.Field {
		return devices.Field{Quantity: q, Addr: addr, Type: t, Scale: scale, Unit: unit, Invalid: []uint64{invalid}}
	}
	return &devices.Profile{
		Name: "integers", Table: devices.Holding,
		Blocks: []devices.Block{{Addr: 0, Count: 8}, {Addr: 20, Count: 3}},
		Fields: []devices.Field{
			{Quantity: devices.StatusWord, Addr: 0, Type: devices.Uint16, Status: []devices.StatusBit{{Mask: 2, Equals: 2, Quality: uint8(measure.Device), Text: "sensor break"}}},
			{Quantity: devices.CycleCount, Addr: 1, Type: devices.Uint16},
			field(devices.LeadA1, 2, devices.Int16, 1, "mOhm", 0x8000),
			field(devices.LeadB1, 3, devices.Int16, 1, "mOhm", 0x8000),
			field(devices.LeadB2, 4, devices.Int16, 1, "mOhm", 0x8000),
			field(devices.SensorOhm, 6, devices.Int32, 0.001, "Ohm", 0x80000000),
			field(devices.ReadingDegC, 20, devices.Int16, 0.1, "degF", 0x7fff),
			field(devices.DeviceTempDegC, 21, devices.Int16, 0.1, "degC", 0x7fff),
			field(devices.EMFVolt, 22, devices.Int16, 0.1, "uV", 0x8000),
		},
	}
}

// served is a plant of four loops on two links, its clock held at Start.
func served(t *testing.T, faults ...Placed) (*Plant, []string, *atomic.Int64) {
	t.Helper()
	loop := func(tag string, m wiring.Method, link int, unit uint8, base uint16, p *devices.Profile) Loop {
		l := Loop{Spec: StorySpec(m, wiring.AllLeads), Link: link, Unit: unit, Base: base, Profile: p}
		l.Tag = tag
		return l
	}
	now := new(atomic.Int64)
	now.Store(start.UnixNano())
	p := mustNew(t, Config{
		Seed: 1, Start: start, Links: []string{"tcp://127.0.0.1:0", "127.0.0.1:0"}, Faults: faults,
		Clock: func() time.Time { return time.Unix(0, now.Load()).UTC() },
		Loops: []Loop{
			loop("TT-1", wiring.FourWire, 0, 1, 0, floats()),
			loop("TT-2", wiring.FourWire, 0, 1, 100, floats()),
			loop("TT-3", wiring.ThreeWireDual, 0, 2, 0, integers()),
			loop("TT-4", wiring.ThreeWireLoop, 1, 255, 40000, integers()),
		},
	})
	bound, err := p.Listen()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.Close)
	return p, bound, now
}

func dial(t *testing.T, addr string) *modbus.ModbusClient {
	t.Helper()
	c, err := modbus.NewClient(&modbus.ClientConfiguration{URL: "tcp://" + addr, Timeout: 2 * time.Second, Logger: log.New(io.Discard, "", 0)})
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Open(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

// readAll reads the blocks of a loop over the connection and decodes every field.
func readAll(t *testing.T, c *modbus.ModbusClient, l *Loop) map[devices.Quantity]float64 {
	t.Helper()
	c.SetUnitId(l.Unit)
	kind := modbus.HOLDING_REGISTER
	if l.Profile.Table == devices.Input {
		kind = modbus.INPUT_REGISTER
	}
	blocks := l.Profile.Blocks
	if len(blocks) == 0 {
		blocks = []devices.Block{{Addr: 10, Count: 14}}
	}
	out := make(map[devices.Quantity]float64)
	for _, b := range blocks {
		regs, err := c.ReadRegisters(l.Base+b.Addr, b.Count, kind)
		if err != nil {
			t.Fatalf("%s: %v", l.Tag, err)
		}
		bytes := devices.Words(regs)
		for i := range l.Profile.Fields {
			f := &l.Profile.Fields[i]
			if f.Addr < b.Addr || f.Addr >= b.Addr+b.Count {
				continue
			}
			v, ok := f.Get(bytes[2*(f.Addr-b.Addr):])
			if !ok {
				v = math.NaN()
			}
			out[f.Quantity] = v
		}
	}
	return out
}

// What comes over the wire is what SampleAt says, to the last bit.
func TestRegistersAreTheSample(t *testing.T) {
	p, bound, now := served(t)
	for i := range p.Loops() {
		l := p.loops[i].spec
		c := dial(t, bound[l.Link])
		for range 5 {
			at := time.Unix(0, now.Add(int64(977*time.Millisecond)))
			s := p.SampleAt(i, at)
			for q, got := range readAll(t, c, l) {
				if q == devices.StatusWord {
					if got != 0 {
						t.Errorf("%s: status %g, want 0", l.Tag, got)
					}
					continue
				}
				want := valueOf(&s, q)
				if got != want || math.IsNaN(got) {
					t.Errorf("%s %s: register decodes to %v, sample has %v", l.Tag, q, got, want)
				}
			}
		}
	}
	// 2 loops in floats with one request, 2 in integers with two, five times each.
	if n := p.Counts(); n.Requests != 30 || n.Registers != 2*5*14+2*5*(8+3) || n.Exceptions != 0 {
		t.Errorf("counted %+v; want 30 requests and 250 registers", n)
	}
}

// Steps of registers: the sample goes through a channel exactly as through
// encoding and decoding, for any field and value.
func TestChannelEqualsEncodeDecode(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := devices.Field{
			Quantity: devices.SensorOhm,
			Type:     rapid.SampledFrom([]devices.Type{devices.Int16, devices.Uint16, devices.Int32, devices.Uint32, devices.Float32, devices.Float64}).Draw(t, "type"),
			Order:    rapid.SampledFrom([]devices.Order{devices.ABCD, devices.BADC}).Draw(t, "order"),
			Scale:    rapid.SampledFrom([]float64{0, 1, 0.1, 0.01, 0.001, 0.0001, 0.03125, 2.5}).Draw(t, "scale"),
			Offset:   rapid.SampledFrom([]float64{0, -200, 0.5}).Draw(t, "offset"),
			Unit:     rapid.SampledFrom([]string{"", "Ohm", "mOhm", "kOhm"}).Draw(t, "unit"),
			// in Unit, as in a profile
			Resolution: rapid.SampledFrom([]float64{0, 0.001, 0.01}).Draw(t, "resolution"),
		}
		c := channelOf(&f)
		x := rapid.Float64Range(-500, 500).Draw(t, "x")
		want := c.through(x)
		if math.IsNaN(want) {
			return // beyond the register
		}
		var buf [8]byte
		if err := f.Put(buf[:], want); err != nil {
			t.Fatalf("a value that the channel passed does not fit: %v", err)
		}
		if got, ok := f.Get(buf[:]); !ok || got != want {
			t.Fatalf("channel says %v, the register %v", want, got)
		}
		allowed := c.step/2 + 1.3e-7*(math.Abs(x)+math.Abs(c.add)) + 1e-30 // float32 has 24 bits, fewer near zero
		if f.Type < devices.Float32 {
			allowed += c.mul / c.div / 2
		}
		if unsigned := f.Type == devices.Uint16 || f.Type == devices.Uint32; unsigned && x < c.add {
			x = c.add // shows as the least it can hold
		}
		if math.Abs(want-x) > allowed {
			t.Fatalf("%v became %v: off by more than %v", x, want, allowed)
		}
	})
}

func TestSeveralLoopsOfOneUnitInOneRequest(t *testing.T) {
	p, bound, _ := served(t)
	c := dial(t, bound[0])
	c.SetUnitId(1)
	if _, err := c.ReadRegisters(10, 104, modbus.INPUT_REGISTER); !errors.Is(err, modbus.ErrIllegalDataAddress) {
		t.Errorf("reading across an undeclared gap: %v, want illegal data address", err)
	}
	if _, err := c.ReadRegisters(9, 2, modbus.INPUT_REGISTER); !errors.Is(err, modbus.ErrIllegalDataAddress) {
		t.Errorf("reading before the map: %v, want illegal data address", err)
	}
	if _, err := c.ReadRegisters(10, 2, modbus.HOLDING_REGISTER); !errors.Is(err, modbus.ErrIllegalDataAddress) {
		t.Errorf("reading the wrong table: %v, want illegal data address", err)
	}
	c.SetUnitId(9)
	if _, err := c.ReadRegisters(10, 2, modbus.INPUT_REGISTER); !errors.Is(err, modbus.ErrGWTargetFailedToRespond) {
		t.Errorf("reading a unit that is not there: %v, want gateway target failed to respond", err)
	}
	if n := p.Counts(); n.Exceptions != 4 {
		t.Errorf("%d exceptions counted, want 4", n.Exceptions)
	}
}

// A gap between the declared blocks is refused although it lies within the map.
func TestUndeclaredGapIsRefused(t *testing.T) {
	_, bound, _ := served(t)
	c := dial(t, bound[0])
	c.SetUnitId(2)
	if _, err := c.ReadRegisters(0, 23, modbus.HOLDING_REGISTER); !errors.Is(err, modbus.ErrIllegalDataAddress) {
		t.Errorf("reading 0 to 22 with 8 to 19 undeclared: %v, want illegal data address", err)
	}
}

// The gateway before a silent device says so in the end.
func TestGatewayGivesUpOnASilentDevice(t *testing.T) {
	p, bound, _ := served(t, Placed{Loop: 2, Fault: Fault{Kind: Silent}})
	p.gatewayWait = 0
	c := dial(t, bound[0])
	c.SetUnitId(2)
	if _, err := c.ReadRegisters(0, 8, modbus.HOLDING_REGISTER); !errors.Is(err, modbus.ErrGWTargetFailedToRespond) {
		t.Errorf("%v, want gateway target failed to respond", err)
	}
	c.SetUnitId(1)
	if _, err := c.ReadRegisters(10, 14, modbus.INPUT_REGISTER); err != nil {
		t.Errorf("the unit beside it: %v", err)
	}
}

func TestWritesAreRefusedAndCounted(t *testing.T) {
	p, bound, _ := served(t)
	c := dial(t, bound[0])
	c.SetUnitId(2)
	if err := c.WriteRegister(2, 1); !errors.Is(err, modbus.ErrIllegalFunction) {
		t.Errorf("write register: %v, want illegal function", err)
	}
	if err := c.WriteCoil(2, true); !errors.Is(err, modbus.ErrIllegalFunction) {
		t.Errorf("write coil: %v, want illegal function", err)
	}
	if n := p.Counts(); n.Writes != 2 {
		t.Errorf("%d writes counted, want 2", n.Writes)
	}
}

func TestFaultsOnCommand(t *testing.T) {
	p, bound, now := served(t)
	l := p.loops[2].spec // TT-3, three-wire, integers
	c := dial(t, bound[0])
	before := readAll(t, c, l)

	command := func(f Fault) map[devices.Quantity]float64 {
		t.Helper()
		if err := p.Repair(2); err != nil {
			t.Fatal(err)
		}
		now.Add(int64(time.Second))
		if err := p.Command(2, f); err != nil {
			t.Fatal(err)
		}
		return readAll(t, c, l)
	}
	got := command(Fault{Kind: Step, Lead: measure.A1, Size: 0.3})
	if d := got[devices.LeadA1] - before[devices.LeadA1]; math.Abs(d-0.3) > 0.3*fretting*2*sqrt3+0.003 {
		t.Errorf("a step of 0.3 Ω shows as %.3f Ω", d)
	}
	got = command(Fault{Kind: Open, Lead: measure.B1})
	if got[devices.StatusWord] != 2 || !math.IsNaN(got[devices.LeadB1]) || !math.IsNaN(got[devices.ReadingDegC]) || math.IsNaN(got[devices.LeadA1]) {
		t.Errorf("b1 open: %v; want status 2, no b1, no reading", got)
	}
	got = command(Fault{Kind: Short, Lead: measure.B1})
	if math.Abs(got[devices.LeadB1]) > 0.005 || math.Abs(got[devices.LeadB2]) > 0.005 {
		t.Errorf("b1 and b2 joined: b1 %g Ω, b2 %g Ω; want nothing", got[devices.LeadB1], got[devices.LeadB2])
	}
	frozen := command(Fault{Kind: Frozen})
	now.Add(int64(time.Hour))
	for q, v := range readAll(t, c, l) {
		if v != frozen[q] {
			t.Errorf("frozen %s moved from %v to %v", q, frozen[q], v)
		}
	}
	if err := p.Command(2, Fault{Kind: Exception, Code: 4}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.ReadRegisters(0, 8, modbus.HOLDING_REGISTER); !errors.Is(err, modbus.ErrServerDeviceFailure) {
		t.Errorf("exception 4: %v", err)
	}
	if s := p.SampleAt(2, time.Unix(0, now.Load())); s.Quality != measure.Comms {
		t.Errorf("a device that answers with exceptions gives quality %v, want comms", s.Quality)
	}
	if err := p.Repair(2); err != nil {
		t.Fatal(err)
	}
	if v := readAll(t, c, l)[devices.LeadA1]; math.Abs(v-before[devices.LeadA1]) > 0.01 {
		t.Errorf("repaired: a1 %g Ω, want %g again", v, before[devices.LeadA1])
	}
	if err := p.Command(9, Fault{Kind: Open}); err == nil {
		t.Error("a command for a loop that is not there was taken")
	}
}

// A silent device keeps its client waiting; stopping the plant ends that.
func TestSilentDeviceAndStop(t *testing.T) {
	p, bound, _ := served(t, Placed{Loop: 3, Fault: Fault{Kind: Silent}})
	p.gatewayWait = time.Hour // only the stop ends it
	c := dial(t, bound[1])
	c.SetUnitId(255)
	answer := make(chan error, 1)
	go func() {
		_, err := c.ReadRegisters(40000, 8, modbus.HOLDING_REGISTER)
		answer <- err
	}()
	for p.Counts().Silent == 0 {
		select {
		case err := <-answer:
			t.Fatalf("a silent device answered: %v", err)
		default:
			runtime.Gosched()
		}
	}
	p.Close()
	if err := <-answer; err == nil {
		t.Error("a read from a silent device brought values")
	}
}

func TestServeEndsWithItsContext(t *testing.T) {
	p := mustNew(t, Config{Links: []string{"127.0.0.1:0"}, Loops: []Loop{{Spec: StorySpec(wiring.FourWire, wiring.AllLeads), Unit: 1, Profile: floats()}}})
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- p.Serve(ctx) }()
	stop()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

func TestListenRefusesATakenPort(t *testing.T) {
	p, bound, _ := served(t)
	if _, err := p.Listen(); err == nil {
		t.Error("a plant that listens listened again")
	}
	q := mustNew(t, Config{Links: []string{bound[0]}})
	if _, err := q.Listen(); err == nil {
		q.Close()
		t.Error("two plants on one port")
	}
}

func TestOverlappingRegistersAreRefused(t *testing.T) {
	loop := func(tag string, base uint16) Loop {
		l := Loop{Spec: StorySpec(wiring.FourWire, wiring.AllLeads), Unit: 1, Base: base, Profile: floats()}
		l.Tag = tag
		return l
	}
	if _, err := New(Config{Links: []string{"127.0.0.1:0"}, Loops: []Loop{loop("TT-1", 0), loop("TT-2", 13)}}); err == nil {
		t.Error("two loops share register 23 and were taken")
	}
	if _, err := New(Config{Links: []string{"127.0.0.1:0"}, Loops: []Loop{loop("TT-1", 65530)}}); err == nil {
		t.Error("a loop beyond register 65535 was taken")
	}
}

func TestManyClients(t *testing.T) {
	p, bound, _ := served(t)
	for range 40 { // the library's own default ends at 10
		readAll(t, dial(t, bound[0]), p.loops[2].spec)
	}
}
