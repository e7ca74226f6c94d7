package poll

import (
	"context"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"ohmdrift/devices"
	"ohmdrift/devices/wiretest"
	"ohmdrift/diagnostics/measure"
)

func TestReadOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", func(r wiretest.Request) ([]byte, bool) {
			switch {
			case r.Unit == 2:
				return nil, false
			case r.Unit == 3 && r.Count > 2:
				return r.Exception(2), false
			case r.Unit == 4 && r.N%2 == 0:
				return r.Exception(6), false
			}
			return numbered(r)
		})
		s.loop(1, 0, time.Minute, one())
		dead := s.loop(2, 0, time.Minute, one())
		s.loop(3, 0, time.Minute, one())
		s.loop(3, 2, time.Minute, one())
		s.loop(4, 0, time.Minute, one())
		s.link("mcc2", numbered)
		down := s.loop(1, 0, time.Minute, one())
		s.setDown("mcc2", true)
		s.link("mcc3", numbered, func(c *devices.LinkConfig) { c.Second = "tcp://mcc4:502" })
		s.loop(1, 0, time.Minute, one())
		s.setDown("mcc3", true)
		s.peers["mcc4"] = wiretest.NewPeer(true, numbered)
		start := time.Now()
		if err := ReadOnce(t.Context(), s.plan, s, s.options()); err != nil {
			t.Fatal(err)
		}
		if d := time.Since(start); d > 10*time.Second {
			t.Errorf("took %v", d)
		}
		for i := range s.plan.Loops {
			rs := s.readings(i)
			if len(rs) != 1 {
				t.Errorf("loop %d: %d readings, want one", i, len(rs))
				continue
			}
			want, problem := measure.Good, ""
			switch i {
			case dead:
				want, problem = measure.Comms, "no answer in 1s"
			case down:
				want, problem = measure.Comms, "connection refused"
			}
			if rs[0].Quality != want || !strings.Contains(rs[0].Problem, problem) {
				t.Errorf("loop %d: %v %q; want %v %q", i, rs[0].Quality, rs[0].Problem, want, problem)
			}
		}
		for _, wait := range s.waits {
			wait()
		}
	})
}

func TestReadOnceStops(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", func(wiretest.Request) ([]byte, bool) { return nil, false })
		for u := range uint8(100) {
			s.loop(u+1, 0, time.Minute, one())
		}
		ctx, stop := context.WithTimeout(t.Context(), 3500*time.Millisecond)
		defer stop()
		start := time.Now()
		if err := ReadOnce(ctx, s.plan, s, s.options()); err == nil {
			t.Error("no error, though it was stopped")
		}
		if d := time.Since(start); d > 4*time.Second {
			t.Errorf("went on for %v", d)
		}
		for _, wait := range s.waits {
			wait()
		}
	})
}

// TestScan: real sockets, since a scan opens its own.
func TestScan(t *testing.T) {
	p := wiretest.NewPeer(true, func(r wiretest.Request) ([]byte, bool) {
		switch r.Unit {
		case 3:
			return numbered(r)
		case 5:
			return r.Exception(2), false
		case 7:
			return r.Exception(11), false
		case 2:
			return nil, true // a gateway that hangs up on units it does not know
		}
		return nil, false
	})
	link := devices.LinkConfig{Name: "mcc1", URL: "tcp://" + p.Listen(t, nil), Timeout: 30 * time.Millisecond}
	found, err := Scan(t.Context(), link, ScanOptions{Units: []uint8{1, 2, 3, 5, 7}, Profile: floats(devices.ABCD)})
	if err != nil {
		t.Fatal(err)
	}
	if len(found) != 2 || found[0].Unit != 3 || found[1].Unit != 5 {
		t.Fatalf("%+v; want units 3 and 5", found)
	}
	if len(found[0].Values) != 4 || !strings.HasPrefix(found[0].Values[1], "CDAB a1=") {
		t.Errorf("%q; want a line for each byte order", found[0].Values)
	}
}

func TestCollector(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newSite(t)
		s.link("mcc1", silentUnits(numbered, func(u uint8) bool { return u == 2 }))
		s.loop(1, 0, time.Second, one())
		s.loop(2, 0, time.Second, one())
		s.during(func(p *Poller) {
			pass(30*time.Second - time.Millisecond)
			reg := prometheus.NewPedanticRegistry()
			reg.MustRegister(p.Collector())
			families, err := reg.Gather()
			if err != nil {
				t.Fatal(err)
			}
			got := map[string]float64{}
			for _, f := range families {
				for _, m := range f.Metric {
					name := f.GetName()
					for _, l := range m.Label {
						name += " " + l.GetValue()
					}
					got[name] = m.GetCounter().GetValue() + m.GetGauge().GetValue() + float64(m.GetHistogram().GetSampleCount())
				}
			}
			for name, want := range map[string]float64{
				"ohmdrift_poll_loops_total mcc1 good":            30,
				"ohmdrift_poll_loops_total mcc1 comms":           30,
				"ohmdrift_poll_requests_total mcc1 good":         30,
				"ohmdrift_poll_round_trip_seconds mcc1":          30,
				"ohmdrift_poll_link_up mcc1":                     1,
				"ohmdrift_poll_unit_breaker mcc1 2":              2,
				"ohmdrift_poll_unit_loops_total mcc1 good 1":     30,
				"ohmdrift_poll_unit_loops_total mcc1 not good 2": 30,
				"ohmdrift_poll_dials_total mcc1 good":            1,
				"ohmdrift_poll_missed_slots_total mcc1":          0,
				"ohmdrift_poll_reopens_total mcc1 silent":        0,
			} {
				if v, ok := got[name]; !ok || v != want {
					t.Errorf("%s = %v (there: %v), want %v", name, v, ok, want)
				}
			}
			if got["ohmdrift_poll_requests_total mcc1 timeout"] == 0 || got["ohmdrift_poll_probe_seconds_total mcc1"] == 0 {
				t.Error("probes of the dead unit are not counted")
			}
		})
	})
}
