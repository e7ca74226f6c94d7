package drift

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// about compares with a value worked out by hand to five digits.
func about(got, want float64) bool { return math.Abs(got/want-1) < 2e-5 }

// With k excursions of two polls the daily count x must reach x + 1.3·√2·√x =
// 5 % of the polls on one day in ten: of 144 a day x = ((√(3.38 + 28.8) −
// 1.83848)/2)² = 3.67540, of 1440 x = ((√(3.38 + 288) − 1.83848)/2)² = 57.9987.
// Divided by the share of excursions that pass the limit.
func TestSpikeGoal(t *testing.T) {
	for _, tt := range []struct {
		name              string
		step              float32
		size, slow, reach float64
		over              [2]float32
		side              int8
		want              float64
	}{
		{"none passed yet: half by size, three of six", 600, 0.2, 3, 0.2, [2]float32{}, 1, 3.67540 / 0.25},
		{"7.2 of nine passed", 600, 0.2, 9, 0.2, [2]float32{0.005, 0}, 1, 3.67540 / 0.725},
		{"those of the low side", 600, 0.2, 9, 0.2, [2]float32{0.5, 0.005}, -1, 3.67540 / 0.725},
		{"more than were counted: all", 600, 0.2, 9, 0.2, [2]float32{0.05, 0}, 1, 3.67540},
		{"of many small ones at least one in 500", 600, 0.001, 500, 0.2, [2]float32{}, 1, 3.67540 / 0.002},
		{"polled each minute, by size alone", 60, 0.2, 9, 0.2, [2]float32{0.05, 0}, 1, 57.9987 / 0.5},
		{"by size, 60 % at most", 60, 1, 9, 0.2, [2]float32{}, 1, 57.9987 / 0.6},
		{"by size, 10 % at least", 60, 0.01, 9, 0.2, [2]float32{}, 1, 57.9987 / 0.1},
	} {
		e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireLoop, wiring.AllLeads))
		e.s.Step, e.s.Error.Over = tt.step, tt.over
		p := spikeState{Size: float32(tt.size), Slow: float32(tt.slow)}
		if got := e.spikeGoal(&p, tt.reach, tt.side); !about(got, tt.want) {
			t.Errorf("%s: %.5f polls a day, want %.5f", tt.name, got, tt.want)
		}
	}
}

// What is due passes within the day: 0.3 − 0.15·z days, z the seven quantiles of
// passing.go, of which the least, the fourth and the largest are 10, 50 and 90 %.
// What opens far beyond the limit lasts 0.15, 0.6 or 2.5 times what was seen of it.
func TestForeseeSpikes(t *testing.T) {
	const age = 10.0 // days since the first excursion
	small := spikeState{Size: 0.02, Slow: 1e5, Fast: 2.5e4}
	huge := spikeState{Size: 50, Slow: 3, Fast: 1}
	due := [3]float64{0.3 - 0.15*1.465, 0.3, 0.3 + 0.15*1.465}
	opens := [3]float64{0.15 * age, 0.6 * age, 2.5 * age}
	for _, tt := range []struct {
		name    string
		method  wiring.Method
		channel int
		spike   spikeState
		ok      bool
		side    int8
		want    [3]float64
	}{
		{"no excursions", wiring.ThreeWireLoop, 0, spikeState{}, false, 0, [3]float64{}},
		{"one that has faded", wiring.ThreeWireLoop, 0, spikeState{Size: 0.2, Slow: 0.19}, false, 0, [3]float64{}},
		{"due", wiring.ThreeWireLoop, 0, small, true, 1, due},
		{"due below", wiring.ThreeWireLoop, 2, small, true, -1, due},
		{"opens", wiring.ThreeWireLoop, 0, huge, true, 1, opens},
		{"opens where the method hides it", wiring.FourWire, 0, huge, true, 1, opens},
	} {
		e := mustEngine(t, testSpec(t, "TT-2101", tt.method, wiring.AllLeads))
		e.s.Step, e.s.Last = 60, 100*dayS
		tt.spike.First = e.s.Last - age*dayS
		if tt.spike.Size > 0 {
			e.s.Ch[tt.channel].Spike = tt.spike
		}
		o, ok := e.foreseeSpikes()
		if ok != tt.ok || o.Side != tt.side {
			t.Errorf("%s: %v on side %d, want %v on %d", tt.name, ok, o.Side, tt.ok, tt.side)
			continue
		}
		if !ok {
			continue
		}
		got := [3]float64{float64(o.P10), float64(o.P50), float64(o.P90)}
		for i := range got {
			if !about(got[i], tt.want[i]) || o.State != outlookDated || o.At != e.s.Last {
				t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
				break
			}
		}
	}
}

// A share of excursions that grew e-fold in ten days for twenty is carried on to
// where 5 % of a day are beyond the limit: fading counts of 2.5 and 10 days hold
// (1 − e^(−20·(0.1+0.4)))/0.5 = 1.99991 and (1 − e^(−20·(0.1+0.1)))/0.2 = 4.90842
// days of today's polls.
func TestForeseeSpikesFollowsGrowth(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireLoop, wiring.AllLeads))
	e.s.Step, e.s.Last = 60, 100*dayS
	for _, now := range []float64{5, 20, 60} { // polls a day in an excursion
		p := &e.s.Ch[0].Spike
		reach := e.reach(0, 0)
		*p = spikeState{Size: float32(reach), Slow: float32(4.90842 * now), Fast: float32(1.99991 * now), First: e.s.Last - 20*dayS}
		want := math.Log(57.9987/0.5/now) / 0.1
		o, ok := e.foreseeSpikes()
		if !ok || math.Abs(float64(o.P50)/want-1) > 0.15 || float64(o.P10) > want || float64(o.P90) < want {
			t.Errorf("%g polls a day: %.1f days (%.1f to %.1f), want about %.1f", now, o.P50, o.P10, o.P90, want)
		}
	}
}

// Of two ways to the limit each quantile is that of the earlier; the side is that
// of the way whose middle comes first.
func TestEarlier(t *testing.T) {
	level := outlook{State: outlookDated, Side: -1, P10: 4, P50: 10, P90: 50}
	spikes := outlook{State: outlookDated, Side: 1, P10: 5, P50: 11, P90: 20}
	if got, want := level.earlier(spikes), (outlook{State: outlookDated, Side: -1, P10: 4, P50: 10, P90: 20}); got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
	spikes.P50 = 9
	if got, want := level.earlier(spikes), (outlook{State: outlookDated, Side: 1, P10: 4, P50: 9, P90: 20}); got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
	level.State = outlookFar
	if got := level.earlier(spikes); got != spikes {
		t.Errorf("got %+v, want the excursions' %+v", got, spikes)
	}
}

// The two charts of the noise are 2.875 and 9.75 days old on average, so variances
// in the ratio r grow by (r − 1)/(9.75 − 2.875·r) a day, and √(6/growth)·(0.37 /
// variance)^0.35 days are left; 0.55, 1.2 and 2.6 times that are the quantiles.
func TestForeseeLeak(t *testing.T) {
	for _, tt := range []struct {
		name       string
		fast, slow float64 // noise variance over that of the baseline
		low        float64
		want       float64 // days of P50, 0 = cannot tell
	}{
		{"0.25 a day", 0.37, 0.185, -0.5, 1.2 * 4.898979},                                      // √24
		{"faster than three days can follow", 0.37, 0.1, -0.5, 1.2 * 3.464102},                 // √12
		{"hardly at all", 0.37, 0.37 / 1.1, -0.5, 1.2 * 9.258201},                              // √(6/0.07)
		{"much noise", 3.7, 1.85, -0.5, 1.2 * 4.898979 * 0.446684},                             // 10^−0.35
		{"less than tells anything of the time", 0.01, 0.005, -0.5, 1.2 * 4.898979 * 2.014797}, // 7.4^0.35
		{"steady", 0.37, 0.37, -0.5, 0},
		{"falling", 0.2, 0.37, -0.5, 0},
		{"gone", -0.1, 0.1, -0.5, 0},
		{"no lower limit", 0.37, 0.185, math.NaN(), 0},
	} {
		s := testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads)
		s.LimitLow = quantity.DeltaC(tt.low)
		e := mustEngine(t, s)
		e.s.Last = 100 * dayS
		e.s.Hiss.Fast.Level, e.s.Hiss.Slow.Level = float32(math.Log1p(tt.fast)/2), float32(math.Log1p(tt.slow)/2)
		o := e.foreseeLeak()
		if o.Side != -1 || o.At != e.s.Last {
			t.Errorf("%s: side %d at %d; a shunt makes the reading low", tt.name, o.Side, o.At)
		}
		if tt.want == 0 {
			if o.State != outlookCannot {
				t.Errorf("%s: %+v, want that nobody can tell", tt.name, o)
			}
			continue
		}
		if o.State != outlookDated || !about(float64(o.P50), tt.want) || !about(float64(o.P10), tt.want*0.55/1.2) || !about(float64(o.P90), tt.want*2.6/1.2) {
			t.Errorf("%s: %+v, want %.4f days", tt.name, o, tt.want)
		}
	}
}

// Of a day 5 % count, rounded up: 8 of 144 slots of ten minutes, 2 of 24 hourly
// polls, the only one of a daily poll.
func TestLeftToday(t *testing.T) {
	for _, tt := range []struct {
		name   string
		step   float32
		beyond int // slots
		share  float32
		noise  float64
		want   bool
	}{
		{"eight slots", 600, 8, 1, 0, true},
		{"seven slots", 600, 7, 5, 0, false},
		{"eight slots, but noise makes that", 600, 8, 1.09, 0.1, false},
		{"eight slots beyond the noise", 600, 8, 1.11, 0.1, true},
		{"polled each second, still slots", 1, 7, 5, 0, false},
		{"polled each second", 1, 8, 1, 0, true},
		{"hourly, two", 3600, 2, 1, 0, true},
		{"hourly, one", 3600, 1, 5, 0, false},
		{"daily", 86400, 1, 1, 0, true},
		{"not polled yet", 0, 7, 5, 0, false},
	} {
		for side := range 2 {
			e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireLoop, wiring.AllLeads))
			e.s.Step = tt.step
			top, other := &e.s.Error.Top, &e.s.Error.Low
			if side == 1 {
				top, other = other, top
			}
			for i := range top {
				top[i], other[i] = -1e9, -9
				if i < tt.beyond {
					top[i] = tt.share
				}
			}
			if got := e.leftToday(side, tt.noise); got != tt.want {
				t.Errorf("%s, side %d: %v, want %v", tt.name, side, got, tt.want)
			}
			if e.leftToday(1-side, tt.noise) {
				t.Errorf("%s: the other side of %d has left its limit", tt.name, side)
			}
		}
	}
}

// A finished day moves the share of slots beyond a limit by 1 − e^(−1/10) =
// 0.0951626 of the way towards its own.
func TestOverIsBookedByTheDay(t *testing.T) {
	for _, tt := range []struct {
		name      string
		was       float32
		slots     uint16
		high, low int // slots beyond
		want      [2]float64
	}{
		{"three of 144", 0, 144, 3, 0, [2]float64{3.0 / 144 * 0.0951626, 0}},
		{"to either side", 0, 144, 3, 5, [2]float64{3.0 / 144 * 0.0951626, 5.0 / 144 * 0.0951626}},
		{"hourly, two of 24", 0, 24, 2, 0, [2]float64{2.0 / 24 * 0.0951626, 0}},
		{"the whole day counts as eight slots", 0, 144, 8, 0, [2]float64{8.0 / 144 * 0.0951626, 0}},
		{"fades", 0.02, 144, 0, 0, [2]float64{0.02 * 0.904837, 0.02 * 0.904837}},
		{"stays", 1.0 / 24, 24, 1, 1, [2]float64{1.0 / 24, 1.0 / 24}},
		{"five slots are no day", 0.02, 5, 5, 0, [2]float64{0.02, 0.02}},
	} {
		s := errorState{Day: 100, DayN: tt.slots, Over: [2]float32{tt.was, tt.was}}
		for i := range tops {
			s.Top[i], s.Low[i] = 0.99, -1e9
			if i < tt.high {
				s.Top[i] = 1
			}
			if i < tt.low {
				s.Low[i] = 1.5
			}
		}
		s.closeDay(101)
		for side, want := range tt.want {
			if got := float64(s.Over[side]); math.Abs(got-want) > 1e-7 {
				t.Errorf("%s, side %d: %.7f, want %.7f", tt.name, side, got, want)
			}
		}
		if s.Day != 101 || s.DayN != 0 || s.Top[0] > -1e8 || s.Low[0] > -1e8 {
			t.Errorf("%s: the next day begins with %d slots, %v and %v", tt.name, s.DayN, s.Top[0], s.Low[0])
		}
	}
}

// The forecast of excursions is dated for a lead that comes and goes, whatever
// its level says, and only then.
func TestForeseeJoinsExcursions(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireLoop, wiring.AllLeads))
	e.s.Step, e.s.Last, e.s.Error.Day = 60, 100*dayS, 100
	e.s.Ch[0].Spike = spikeState{Size: 0.02, Slow: 1e5, Fast: 2.5e4, First: 90 * dayS}
	if o := e.foresee(90*dayS, finding.LeadIntermittent); o.State != outlookDated || !about(float64(o.P50), 0.3) {
		t.Errorf("intermittent: %+v, want what is due", o)
	}
	e.s.Ch[0].Spike.Slow = 0.1 // faded
	if o := e.foresee(90*dayS, finding.LeadIntermittent); o.State != outlookCannot {
		t.Errorf("faded: %+v, want that nobody can tell", o)
	}
}
