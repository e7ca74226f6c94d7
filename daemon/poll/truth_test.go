package poll

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"ohmdrift/devices"
	"ohmdrift/devices/wiretest"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
)

// bench gives registers that change as a sound loop's do: most polls differ in
// the last digit. quiet ones never change. frozen stops them all.
type bench struct {
	frozen atomic.Bool
	stuck  atomic.Int32 // unit that is frozen, 0 = none
	last   map[uint8]uint16
	quiet  func(unit uint8) bool
}

func newBench() *bench {
	return &bench{last: map[uint8]uint16{}, quiet: func(uint8) bool { return false }}
}

func (b *bench) script(r wiretest.Request) ([]byte, bool) {
	v, seen := b.last[r.Unit]
	still := b.frozen.Load() || int32(r.Unit) == b.stuck.Load() || b.quiet(r.Unit)
	if !seen || !still && rand.IntN(10) < 6 {
		v = uint16(500 + rand.IntN(4))
	}
	b.last[r.Unit] = v
	return r.Registers(v), false
}

func countQuality(rs []taken, q measure.Quality, from, to time.Time) (n, all int) {
	for _, r := range rs {
		if r.when.Before(from) || !r.when.Before(to) {
			continue
		}
		all++
		if r.Quality == q {
			n++
		}
	}
	return n, all
}

// TestFrozenDevice: one device repeats its last answer for ever; its neighbours
// go on. Quiet sound loops beside it are never called frozen.
func TestFrozenDevice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, b := newSite(t), newBench()
		b.quiet = func(u uint8) bool { return u >= 8 }
		s.link("mcc1", b.script)
		for u := range uint8(10) {
			s.loop(u+1, 0, time.Second, one())
		}
		var when, end time.Time
		s.during(func(p *Poller) {
			pass(2 * time.Hour)
			if err := p.Reload(s.plan, s); err != nil { // what was learned stays
				t.Error(err)
			}
			b.stuck.Store(3)
			when = time.Now()
			pass(20 * time.Minute)
			b.stuck.Store(0)
			end = time.Now()
			pass(10 * time.Minute)
		})
		for i, lp := range s.plan.Loops {
			rs := s.readings(i)
			before, _ := countQuality(rs, measure.Frozen, time.Time{}, when)
			during, all := countQuality(rs, measure.Frozen, when.Add(4*time.Minute), end)
			after, _ := countQuality(rs, measure.Frozen, end.Add(10*time.Second), time.Now())
			want := 0
			if lp.Unit == 3 {
				want = all
			}
			if before != 0 || during != want || after != 0 {
				t.Errorf("unit %d: frozen %d before, %d of %d while stuck, %d after", lp.Unit, before, during, all, after)
			}
		}
	})
}

// TestFrozenGateway: a gateway that serves its cache freezes all loops behind
// it at once; a handful of answers is enough to see it, quiet loops included.
func TestFrozenGateway(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s, b := newSite(t), newBench()
		s.link("mcc1", b.script)
		for u := range uint8(12) {
			s.loop(u+1, 0, time.Second, one())
		}
		var when, end time.Time
		s.during(func(*Poller) {
			pass(40 * time.Minute)
			b.frozen.Store(true)
			when = time.Now()
			pass(5 * time.Minute)
			b.frozen.Store(false)
			end = time.Now()
			pass(5 * time.Minute)
		})
		for i := range s.plan.Loops {
			rs := s.readings(i)
			before, _ := countQuality(rs, measure.Frozen, time.Time{}, when)
			during, all := countQuality(rs, measure.Frozen, when.Add(30*time.Second), end)
			after, _ := countQuality(rs, measure.Frozen, end.Add(20*time.Second), time.Now())
			if before != 0 || during != all || after != 0 {
				t.Errorf("loop %d: frozen %d before, %d of %d while the gateway is stuck, %d after", i, before, during, all, after)
			}
		}
	})
}

// TestQuietNightIsNotFrozen: loops that move by day and not at night, with a
// coarse register, are sound. Once a quiet stretch has been seen none is called
// frozen by itself; before that, a long run needs to be improbable.
func TestQuietNightIsNotFrozen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		start := time.Now()
		values := map[uint8]uint16{}
		s.link("mcc1", func(r wiretest.Request) ([]byte, bool) {
			hour := int(time.Since(start).Hours()) % 24
			chance := 3 // in a hundred
			if hour >= 8 && hour < 18 {
				chance = 20
			}
			if rand.IntN(100) < chance {
				values[r.Unit] += uint16(rand.IntN(3)) - 1
			}
			return r.Registers(1000 + values[r.Unit]), false
		})
		for u := range uint8(4) {
			s.loop(u+1, 0, 30*time.Second, one())
		}
		s.run(6 * 24 * time.Hour)
		for i := range s.plan.Loops {
			if n, all := countQuality(s.readings(i), measure.Frozen, time.Time{}, time.Now()); n > 0 {
				t.Errorf("loop %d: %d of %d readings called frozen", i, n, all)
			}
		}
	})
}

// TestCycleCounterStops: where the device counts its cycles, three renewals are
// enough.
func TestCycleCounterStops(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := one()
		p.Renew = 2 * time.Second
		p.Fields = append(p.Fields, devices.Field{Quantity: devices.CycleCount, Addr: 2, Type: devices.Uint16})
		var stop atomic.Bool
		s := newSite(t)
		start := time.Now()
		cycle := uint16(0)
		s.link("mcc1", func(r wiretest.Request) ([]byte, bool) {
			if !stop.Load() {
				cycle = uint16(time.Since(start) / (2 * time.Second))
			}
			return serve(func(_ uint8, addr uint16) uint16 {
				if addr == 2 {
					return cycle
				}
				return 5 // values that never change prove nothing
			})(r)
		})
		s.loop(1, 0, time.Second, p)
		var when time.Time
		s.during(func(*Poller) {
			pass(time.Hour)
			stop.Store(true)
			when = time.Now()
			pass(time.Minute)
		})
		if n, _ := countQuality(s.readings(0), measure.Frozen, time.Time{}, when); n > 0 {
			t.Errorf("%d readings frozen while the counter runs", n)
		}
		if n, all := countQuality(s.readings(0), measure.Frozen, when.Add(9*time.Second), time.Now()); n != all {
			t.Errorf("%d of %d readings frozen after the counter has stopped", n, all)
		}
	})
}

// TestByteOrderAtRunTime: a profile with swapped words is told so, with the
// order to set; leads in it would pass a range check.
func TestByteOrderAtRunTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sensor, err := rtd.ParseSensor("Pt100")
		if err != nil {
			t.Fatal(err)
		}
		is := floats(devices.CDAB)
		regs := make([]byte, 32)
		smp := measure.Empty(time.Now(), measure.Good)
		smp.Leads[measure.A1], smp.Sensor, smp.Reading = 0.5, sensor.Forward(80), 80
		if err := is.Encode(&smp, 0, regs); err != nil {
			t.Fatal(err)
		}
		s := newSite(t)
		s.link("mcc1", func(r wiretest.Request) ([]byte, bool) {
			return r.Frame(append([]byte{r.Fn, byte(2 * r.Count)}, regs[2*r.Addr:2*(r.Addr+r.Count)]...)), false
		})
		wrong := s.loop(1, 0, time.Second, floats(devices.ABCD))
		right := s.loop(2, 0, time.Second, is)
		for i := range s.plan.Loops {
			s.plan.Loops[i].Sensor = sensor
		}
		s.run(10 * time.Second)
		for i, r := range s.readings(wrong) {
			if i >= suspectsNeeded && (r.Quality != measure.Configuration || !strings.Contains(r.Problem, "CDAB")) {
				t.Errorf("reading %d: %v %q; want configuration, and CDAB suggested", i, r.Quality, r.Problem)
			}
		}
		for _, r := range s.readings(right) {
			if r.Quality != measure.Good || math.Abs(float64(r.Sample.Reading)-80) > 1e-5 {
				t.Errorf("the right order: %v %v %s", r.Quality, r.Sample.Reading, r.Problem)
			}
		}
	})
}

func floats(o devices.Order) *devices.Profile {
	return &devices.Profile{Name: "floats" + o.String(), Table: devices.Input, Fields: []devices.Field{
		{Quantity: devices.LeadA1, Addr: 0, Type: devices.Float32, Order: o},
		{Quantity: devices.SensorOhm, Addr: 2, Type: devices.Float32, Order: o},
		{Quantity: devices.ReadingDegC, Addr: 4, Type: devices.Float32, Order: o},
	}}
}

// TestExchangedDevice: a transmitter with another name plate comes back behind
// the address. Every loop of the unit is told once.
func TestExchangedDevice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := one()
		p.Identity = true
		var gone, other atomic.Bool
		s := newSite(t)
		s.link("mcc1", func(r wiretest.Request) ([]byte, bool) {
			switch {
			case r.Unit == 1 && gone.Load():
				return nil, false
			case r.Fn == 0x2B:
				text := "TX-4 serial 17"
				if other.Load() {
					text = "TX-4 serial 99"
				}
				return r.Frame(append([]byte{0x2B, 0x0E, 1, 1, 0, 0, 1, 1, byte(len(text))}, text...)), false
			}
			return numbered(r)
		})
		s.loop(1, 0, time.Second, p)
		s.loop(1, 50, time.Second, p)
		s.loop(2, 0, time.Second, one())
		s.during(func(*Poller) {
			pass(3 * time.Hour)
			gone.Store(true)
			pass(time.Minute)
			other.Store(true)
			gone.Store(false)
			pass(5 * time.Minute)
		})
		for i := range s.plan.Loops {
			told := 0
			for _, r := range s.readings(i) {
				if r.DeviceChanged != "" {
					told++
					if !strings.Contains(r.DeviceChanged, "serial 99") {
						t.Error(r.DeviceChanged)
					}
				}
			}
			if want := map[bool]int{true: 1}[i < 2]; told != want {
				t.Errorf("loop %d was told %d times, want %d", i, told, want)
			}
		}
	})
}

// TestFingerprint: values that suddenly come in steps of 0.01 instead of 0.001
// are another device's; the same steps over a quiet week are not.
func TestFingerprint(t *testing.T) {
	var p fingerprint
	s := measure.Empty(time.Time{}, measure.Good)
	feed := func(n int, step float64) (told int) {
		for range n {
			s.Leads[measure.A1] = quantity.Ohm(math.Round((0.5+rand.Float64())/step) * step)
			s.Reading = quantity.DegC(math.Round(1000+100*rand.Float64()) / 10)
			if p.take(&s) != "" {
				told++
			}
		}
		return told
	}
	if n := feed(5000, 0.001); n != 0 {
		t.Errorf("told %d times while nothing changed", n)
	}
	if n := feed(500, 0.01); n != 1 {
		t.Errorf("told %d times after a coarser device came, want once", n)
	}
	if n := feed(5000, 0.01); n != 0 {
		t.Errorf("told %d times of the new device", n)
	}
	if n := feed(500, 0.0001); n != 1 {
		t.Errorf("told %d times after a finer device came, want once", n)
	}
}

// TestDecimals: as printed, also after a float32 (IEEE 754).
func TestDecimals(t *testing.T) {
	for v, want := range map[float64]uint8{0: 0, 138: 0, 138.5: 1, 0.01: 2, 0.123: 3, 138.5055: 4, 1.0 / 3: 5} {
		if got := decimals(v); got != want {
			t.Errorf("%v: %d decimals, want %d", v, got, want)
		}
		if got := decimals(float64(float32(v))); got != want {
			t.Errorf("%v as a float32: %d decimals, want %d", v, got, want)
		}
	}
}

// TestBadValueStaysWithItsLoop, though both come in one answer.
func TestBadValueStaysWithItsLoop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := one()
		p.Fields[0].Invalid = []uint64{0xFFFF}
		s := newSite(t)
		s.link("mcc1", func(r wiretest.Request) ([]byte, bool) {
			pdu := []byte{r.Fn, byte(2 * r.Count)}
			for i := range r.Count {
				v := uint16(7)
				if r.Addr+i == 2 {
					v = 0xFFFF
				}
				pdu = binary.BigEndian.AppendUint16(pdu, v)
			}
			return r.Frame(pdu), false
		})
		s.loop(1, 0, time.Second, p)
		s.loop(1, 2, time.Second, p) // read together with the first
		s.run(5 * time.Second)
		for _, r := range s.readings(0) {
			if r.Quality != measure.Good {
				t.Errorf("the sound loop: %v %s", r.Quality, r.Problem)
			}
		}
		for _, r := range s.readings(1) {
			if r.Quality != measure.Invalid || !strings.Contains(r.Problem, "a1 (raw 0xffff)") {
				t.Errorf("the other: %v %s", r.Quality, r.Problem)
			}
		}
	})
}

// TestMemory: what was learned goes through JSON into the next run, which calls
// a stuck device frozen without learning again and sees that another was
// exchanged while nobody polled.
func TestMemory(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		plated := one()
		plated.Name, plated.Identity = "plated", true
		serial := "17"
		b := newBench()
		script := func(r wiretest.Request) ([]byte, bool) {
			if r.Fn == 0x2B {
				return r.Frame(append([]byte{0x2B, 0x0E, 1, 1, 0, 0, 1, 1, 2}, serial...)), false
			}
			return b.script(r)
		}
		plant := func() *site {
			s := newSite(t)
			s.link("mcc1", script)
			s.loop(1, 0, time.Second, one())
			s.loop(2, 0, time.Second, plated)
			return s
		}
		text, err := json.Marshal(plant().run(2 * time.Hour).Memory())
		if err != nil {
			t.Fatal(err)
		}
		var m Memory
		if err := json.Unmarshal(text, &m); err != nil {
			t.Fatal(err)
		}
		b.stuck.Store(1)
		serial = "99"
		s := plant()
		o := s.options()
		o.Memory = m
		p := s.duringWith(o, func(*Poller) { pass(10 * time.Minute) })
		if n, all := countQuality(s.readings(0), measure.Frozen, time.Now().Add(-5*time.Minute), time.Now()); n != all || all == 0 {
			t.Errorf("%d of %d readings of a stuck device are frozen after a restart", n, all)
		}
		told := 0
		for _, r := range s.readings(1) {
			if strings.Contains(r.DeviceChanged, "99") {
				told++
			}
		}
		if told != 1 {
			t.Errorf("told %d times that the device is another, want once", told)
		}
		if again := p.Memory(); again.Units["mcc1/2"].Product != "99" || again.Loops["TT-100"].Learned < m.Loops["TT-100"].Learned {
			t.Errorf("memory after the second run: %+v", again)
		}
	})
}
