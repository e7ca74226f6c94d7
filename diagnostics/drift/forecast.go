package drift

import (
	"math"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
)

// A forecast asks when the daily share of the limit passes one. Contacts grow in
// a straight line, as a power of time, or faster and faster towards their end,
// and what they do is not known in advance. So every course that fits the days
// since the onset is carried forward, each with the weight of its fit, and the
// forecast is the distribution of the moments at which they pass.

// horizon is how far a forecast looks: two years.
const horizon = 2 * 365.25

// outlook is a forecast as the engine keeps it: days from now.
type outlook struct {
	State         uint8 // index into outlookStates
	Side          int8  // +1 high limit, −1 low limit
	P10, P50, P90 float32
	At            int64 // when it was made, s
}

const (
	outlookNone uint8 = iota
	outlookDated
	outlookFar
	outlookCannot
	outlookPast
)

// pastStays is the share of the limit below which a loop that left it is said to
// be back: a wet week ends, and the contact is no better for it.
const pastStays = 0.85

// foresee makes the forecast of a loop whose contact finding began at since. A
// lead that comes and goes may leave the limit by its level or by its
// excursions: the first counts.
func (e *Engine) foresee(since int64, kind finding.Kind) outlook {
	o := e.foreseeLevel(since, kind)
	spiking := kind == finding.LeadIntermittent
	for k := range e.m.n {
		spiking = spiking || e.spiking(k)
	}
	if spiking && o.State != outlookPast {
		if x, ok := e.foreseeSpikes(); ok && kind == finding.LeadIntermittent && e.onceOnly(e.worstSpikes()) {
			return x // the days since hold nothing but that one poll
		} else if ok {
			return o.earlier(x)
		}
	}
	return o
}

// earlier joins the forecasts of two ways to the limit.
func (o outlook) earlier(x outlook) outlook {
	if o.State != outlookDated {
		return x
	}
	if o.P50 < x.P50 {
		x.Side = o.Side
	}
	x.P10, x.P50, x.P90 = min(o.P10, x.P10), min(o.P50, x.P50), min(o.P90, x.P90)
	return x
}

// foreseeLevel makes the forecast from the daily shares of the limit.
func (e *Engine) foreseeLevel(since int64, kind finding.Kind) outlook {
	s := &e.s.Error
	o := outlook{At: e.s.Last, Side: 1, State: outlookCannot}
	y, side := s.Hi[:], 0
	doubt := e.mayBeVoltage(kind)
	switch hi, lo := trend(s.Hi[:]), trend(s.Lo[:]); {
	case e.fourWire() && (kind == finding.ThermalEMF || doubt):
		y, side = s.Lo[:], 1
	case e.fourWire() && !e.leadLimited():
		return o
	case e.fourWire():
	case lo > hi || math.IsNaN(hi) && !math.IsNaN(lo):
		y, side, o.Side = s.Lo[:], 1, -1
	}
	age := float64(e.s.Last-since) / dayS
	n := min(int(math.Ceil(age*1.3))+2, int(s.Kept), days)
	if n < 2 {
		return o
	}
	home := e.homeShare(o.Side)
	noise := max(float64(s.Usual[side])-home, 0)
	now := recentShare(y) - noise
	switch {
	case math.IsNaN(now):
		return o
	case doubt && now >= 1:
		return o.ifVoltage(soonest)
	case now >= 1, e.leftToday(side, noise), e.s.Found[aboutContact].Outlook.State == outlookPast && now >= pastStays:
		o.State = outlookPast
		return o
	}
	g := growing{n: n, goal: 1 - home, age: max(age, 1), late: min(max(float64(e.s.Last-s.Day*dayS)/dayS, 0), 1)}
	for i, v := range y[days-n:] {
		g.s[i] = float64(v) - home - noise
	}
	if o = g.outlook(o); doubt && o.State == outlookDated {
		return o.ifVoltage(o.P50)
	}
	return o
}

// mayBeVoltage tells whether what stands on a lead of a four-wire loop could be a
// voltage as well: what comes and goes from poll to poll is none. With a lead limit the
// leads are held against that.
func (e *Engine) mayBeVoltage(kind finding.Kind) bool {
	switch kind {
	case finding.LeadDrift, finding.LeadStep, finding.LeadThermal, finding.LeadMoisture:
		return e.fourWire() && !e.leadLimited()
	}
	return false
}

// ifVoltage returns the forecast of what may be a voltage that passes the limit half of
// the time by half, in days. As a contact it causes no error in a four-wire loop, and
// a fifth of what is not told apart is a voltage, we assume: so one chance in ten is
// half of that fifth, and the rest is never.
func (o outlook) ifVoltage(half float32) outlook {
	o.State, o.P10, o.P50, o.P90 = outlookDated, half, 2*horizon, 2*horizon
	return o
}

// leftToday tells whether 5 % of a day are beyond the limit today already,
// whatever noise adds.
func (e *Engine) leftToday(side int, noise float64) bool {
	s := &e.s.Error
	top := &s.Top
	if side == 1 {
		top = &s.Low
	}
	slots := dayS / max(float64(e.s.Step), slotS)
	i := int(math.Ceil(topShare*slots)) - 1
	return i >= 0 && i < tops && float64(top[i]) >= 1+noise
}

// homeShare is the share of the limit that the baseline takes already.
func (e *Engine) homeShare(side int8) float64 {
	lim := float64(e.m.spec.LimitHigh)
	if side < 0 {
		lim = float64(e.m.spec.LimitLow)
	}
	if e.fourWire() || math.IsNaN(lim) || e.m.spec.Calibrated == diagnostics.LeadsIn {
		return 0 // with the leads calibrated in, the shares are what came on top
	}
	return min(e.s.Error.Home/lim, 0.9)
}

// trend is the rise of the last days over those a week before.
func trend(y []float32) float64 {
	n := len(y)
	return median32(y[n-3:]) - median32(y[n-20:n-10])
}

func recentShare(y []float32) float64 { return median32(y[len(y)-3:]) }

// forecast dresses an outlook.
func (e *Engine) forecast(r *record) *finding.Forecast {
	o := &r.Outlook
	if o.State == outlookNone {
		return nil
	}
	f := &finding.Forecast{State: finding.CannotTell, Quantity: finding.ErrorLimit, Unit: "degC", Value: float64(e.m.spec.LimitHigh)}
	if o.Side < 0 {
		f.Value = float64(e.m.spec.LimitLow)
	}
	if e.leadLimited() && !e.beyondLeads(r.kind()) {
		f.Quantity, f.Unit, f.Value = finding.LeadsLimit, "ohm", float64(e.m.spec.LeadLimit)
	}
	switch o.State {
	case outlookDated:
		f.State = finding.Dated
		f.P10 = moment(o.At, o.P10)
		if o.P50 <= horizon {
			f.P50 = moment(o.At, o.P50)
		} else if e.mayBeVoltage(r.kind()) {
			f.Why = "as a contact it causes no error in a four-wire loop, as a voltage it would; of five such rises we assume one to be a voltage"
		}
		if o.P90 <= horizon {
			f.P90 = moment(o.At, o.P90)
		}
	case outlookFar:
		f.State = finding.NotWithinHorizon
		f.Why = "the growth seen so far reaches the limit in more than two years"
	case outlookPast:
		f.State = finding.Past
		f.Why = "the error is beyond its limit for more than 5 % of the day"
	default:
		f.Why = e.whyNot(r.kind())
	}
	return f
}

// whyNot tells why there is no forecast.
func (e *Engine) whyNot(k finding.Kind) string {
	switch {
	case k == finding.InsulationLeak && !math.IsNaN(float64(e.m.spec.LimitLow)):
		return "the noise does not grow"
	case math.IsNaN(float64(e.m.spec.LimitHigh)) && math.IsNaN(float64(e.m.spec.LimitLow)) && !e.leadLimited():
		return "the loop has no limit"
	case e.fourWire() && !e.leadLimited() && !e.mayBeVoltage(k):
		return "the leads of a four-wire loop cause no error and no lead limit is stated"
	case !e.s.Error.Known:
		return "the transmitter does not report the leads that cause the error"
	}
	return "not enough days of growth yet"
}
