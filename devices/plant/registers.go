package plant

import (
	"fmt"
	"math"
	"time"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/measure"
)

// window is the run of registers that one loop answers for.
type window struct{ from, to int } // wire addresses, to not included

func (x *transmitter) window() window {
	w := window{from: math.MaxInt}
	for i := range x.spec.Profile.Fields {
		f := &x.spec.Profile.Fields[i]
		w.from = min(w.from, int(f.Addr))
		w.to = max(w.to, int(f.Addr)+int(f.Registers()))
	}
	for _, b := range x.spec.Profile.Blocks {
		w.from = min(w.from, int(b.Addr))
		w.to = max(w.to, int(b.Addr)+int(b.Count))
	}
	w.from += int(x.spec.Base)
	w.to += int(x.spec.Base)
	return w
}

// declared reports whether the device has register addr (wire address): one of
// its blocks holds it, or it lies between the fields where no block is stated.
func (x *transmitter) declared(addr int) bool {
	if len(x.spec.Profile.Blocks) == 0 {
		return true
	}
	at := addr - int(x.spec.Base)
	for _, b := range x.spec.Profile.Blocks {
		if at >= int(b.Addr) && at < int(b.Addr)+int(b.Count) {
			return true
		}
	}
	return false
}

// encode returns the registers of a loop's window at t as bytes of the wire.
func (x *transmitter) encode(p *Plant, t time.Time) []byte {
	w := x.window()
	buf := make([]byte, 2*(w.to-w.from))
	s := x.sample(p, t)
	for i := range x.spec.Profile.Fields {
		f := &x.spec.Profile.Fields[i]
		dst := buf[2*(int(f.Addr)+int(x.spec.Base)-w.from):]
		if f.Quantity == devices.StatusWord {
			f.PutRaw(dst, status(f, s.Quality))
			continue
		}
		v := valueOf(&s, f.Quantity)
		if math.IsNaN(v) && len(f.Invalid) == 0 && f.Type < devices.Float32 {
			v = f.Offset // no pattern for "no value": the register stands at raw 0
		}
		if err := f.Put(dst, v); err != nil {
			f.PutRaw(dst, 0)
		}
	}
	return buf
}

// status returns the first pattern of the status word that means q; 0 = good.
func status(f *devices.Field, q measure.Quality) uint64 {
	for _, b := range f.Status {
		if q != measure.Good && measure.Quality(b.Quality) == q {
			return b.Equals & b.Mask
		}
	}
	return 0
}

// valueOf picks one quantity of a sample in its canonical unit.
func valueOf(s *measure.Sample, q devices.Quantity) float64 {
	switch {
	case q >= devices.LeadA1 && q <= devices.LeadB2:
		return float64(s.Leads[q-devices.LeadA1])
	case q >= devices.PairA1A2 && q <= devices.PairA2B2:
		return float64(s.Pairs[q-devices.PairA1A2])
	}
	switch q {
	case devices.LoopA:
		return float64(s.LoopA)
	case devices.LoopB:
		return float64(s.LoopB)
	case devices.SensorOhm:
		return float64(s.Sensor)
	case devices.Sensor2Ohm:
		return float64(s.Sensor2)
	case devices.ReadingDegC:
		return float64(s.Reading)
	case devices.DeviceTempDegC:
		return float64(s.DeviceTemp)
	case devices.EMFVolt:
		return float64(s.EMF)
	case devices.CycleCount:
		return s.Cycle
	}
	return math.NaN()
}

// checkAddresses refuses loops without a place on their link, and two loops in
// the same registers of one unit.
func (p *Plant) checkAddresses() error {
	type place struct {
		link  int
		unit  uint8
		table devices.Table
	}
	taken := make(map[place][]*transmitter)
	for _, x := range p.loops {
		l := x.spec
		if l.Link < 0 {
			continue
		}
		if l.Link >= len(p.conf.Links) {
			return fmt.Errorf("%s: link %d of %d", l.Tag, l.Link, len(p.conf.Links))
		}
		if l.Profile == nil || len(l.Profile.Fields) == 0 {
			return fmt.Errorf("%s: served on %s but has no profile with fields", l.Tag, p.conf.Links[l.Link])
		}
		w := x.window()
		if w.to > 1<<16 {
			return fmt.Errorf("%s: base %d puts register %d beyond 65535", l.Tag, l.Base, w.to-1)
		}
		at := place{l.Link, l.Unit, l.Profile.Table}
		for _, other := range taken[at] {
			if o := other.window(); w.from < o.to && o.from < w.to {
				return fmt.Errorf("%s and %s: both have register %d of unit %d on %s", other.spec.Tag, l.Tag, max(w.from, o.from), l.Unit, p.conf.Links[l.Link])
			}
		}
		taken[at] = append(taken[at], x)
	}
	return nil
}
