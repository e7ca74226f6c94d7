package drift

import (
	"math"
	"slices"

	"ohmdrift/diagnostics/drift/stat"
	"ohmdrift/diagnostics/finding"
)

// A forecast asks when the daily share of the limit passes one. Contacts grow in
// a straight line, as a power of time, or faster and faster towards their end
// (a contact spot that shrinks: R ∝ 1/a), and what they do is not known in
// advance. So every course that fits the days since the onset is carried
// forward, each with the weight of its fit, and the forecast is the distribution
// of the moments at which they pass.

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

// courses are the shapes of growth: powers of the time since onset, and
// exponentials whose rate is so many e-folds over the time since onset.
var courses = [...]course{
	{power: 0.7, prior: 0.7},
	{power: 1, prior: 1.5},
	{power: 1.4, prior: 1},
	{power: 2, prior: 0.6},
	{power: 3, prior: 0.3},
	{folds: 1, prior: 0.7},
	{folds: 2, prior: 0.7},
	{folds: 3, prior: 0.6},
	{folds: 4, prior: 0.4},
	{folds: 5.5, prior: 0.3},
	{hyper: 0.5, prior: 0.3},
	{hyper: 0.75, prior: 0.3},
	{hyper: 0.9, prior: 0.2},
}

// course is one shape g(x) with x = time since onset over its value now, so that
// x = 1 is now: x^power, e^(folds·x) − 1, or x/(1 − hyper·x), which ends at
// x = 1/hyper.
type course struct{ power, folds, hyper, prior float64 }

func (c *course) at(x float64) float64 {
	switch {
	case c.power > 0:
		return math.Pow(x, c.power)
	case c.folds > 0:
		return math.Expm1(c.folds * x)
	}
	return x / (1 - c.hyper*x)
}

// reaches returns the x at which the shape reaches y.
func (c *course) reaches(y float64) float64 {
	switch {
	case c.power > 0:
		return math.Pow(y, 1/c.power)
	case c.folds > 0:
		return math.Log1p(y) / c.folds
	}
	return y / (1 + c.hyper*y)
}

// onsets are the ages tried, as multiples of the time since the level was last
// near zero: it left zero some time before it could be seen.
var onsets = [...]float64{0.9, 1.1, 1.4, 1.9}

// scatter are normal quantiles of the level's own scatter, seven of equal weight.
var scatter = [...]float64{-1.465, -0.792, -0.366, 0, 0.366, 0.792, 1.465}

// widen stretches the spread that the fits leave, on a logarithmic scale: real
// contacts follow none of the courses exactly. Set so that 80 % intervals cover
// 80 % on simulated plants (README).
const widen = 1.6

// candidate is one moment of passing with its weight.
type candidate struct{ t, w float64 }

// foresee makes the forecast of a loop whose contact finding began at since.
func (e *Engine) foresee(since int64, kind finding.Kind) outlook {
	if kind == finding.LeadIntermittent {
		if o, ok := e.foreseeSpikes(); ok {
			return o
		}
	}
	s := &e.s.Error
	o := outlook{At: e.s.Last, Side: 1, State: outlookCannot}
	y := s.Hi[:]
	switch hi, lo := trend(s.Hi[:]), trend(s.Lo[:]); {
	case e.fourWire() && kind == finding.ThermalEMF:
		y = s.Lo[:]
	case e.fourWire():
		if !e.leadLimited() {
			return o
		}
	case lo > hi || math.IsNaN(hi) && !math.IsNaN(lo):
		y, o.Side = s.Lo[:], -1
	}
	age := float64(e.s.Last-since) / dayS
	n := int(math.Ceil(age*1.3)) + 2
	n = min(n, int(s.Kept), days)
	if n < 3 {
		return o
	}
	home := e.homeShare(o.Side)
	now := recentShare(y)
	switch {
	case math.IsNaN(now):
		return o
	case now >= 1:
		o.State = outlookPast
		return o
	}
	var buf [(len(courses)*len(onsets) + len(lines)) * len(scatter)]candidate
	c := candidates(y[days-n:], age, home, buf[:0])
	if len(c) == 0 {
		return o
	}
	return o.from(c)
}

// homeShare is the share of the limit that the baseline takes already.
func (e *Engine) homeShare(side int8) float64 {
	lim := float64(e.m.spec.LimitHigh)
	if side < 0 {
		lim = float64(e.m.spec.LimitLow)
	}
	if e.fourWire() || math.IsNaN(lim) {
		return 0
	}
	return min(e.s.Error.Home/lim, 0.9)
}

// trend is the rise of the last days over those a week before.
func trend(y []float32) float64 {
	n := len(y)
	return median32(y[n-3:]) - median32(y[n-20:n-10])
}

func recentShare(y []float32) float64 { return median32(y[len(y)-3:]) }

// noiseOf estimates the relative scatter of daily values around their course
// from their second differences; half as much again, since the scatter of
// neighbouring days hangs together.
func noiseOf(y []float32) float64 {
	var d [days]float32
	n := 0
	for i := 2; i < len(y); i++ {
		m := math.Max(math.Abs(float64(y[i-1])), 0.05)
		if x := float32(math.Abs(float64(y[i]-2*y[i-1]+y[i-2])) / m); x == x {
			d[n] = x
			n++
		}
	}
	if n < 3 {
		return 0.15
	}
	return min(max(1.5*middle(d[:n])*madToSigma/math.Sqrt(6), 0.03), 0.3)
}

// candidates fits every course to the daily shares y, newest last.
func candidates(y []float32, age, home float64, out []candidate) []candidate {
	sd := noiseOf(y)
	best := math.Inf(1)
	const n = len(courses) * len(onsets)
	var chi, amp [n]float64
	for k := range n {
		chi[k], amp[k] = fitCourse(&courses[k/len(onsets)], y, max(age, 1)*onsets[k%len(onsets)], home, sd)
		best = min(best, chi[k])
	}
	var ln [len(lines)]line
	for i, share := range lines {
		ln[i] = fitLine(y, max(age, 1)*share, home, sd)
		best = min(best, ln[i].chi)
	}
	if math.IsInf(best, 1) {
		return out
	}
	// What the level itself is uncertain by, and how much earlier the scatter
	// of the days carries it over the limit.
	se := sd * max(0.4, math.Sqrt(scatterDays/float64(len(y))))
	goal := (1 - home) / (1 + sd/2)
	for k := range n {
		c := &courses[k/len(onsets)]
		w := c.prior * math.Exp(-(chi[k]-best)/2)
		if !(amp[k] > 0) || w < 1e-3 {
			continue
		}
		for _, z := range scatter {
			x := c.reaches(goal / (amp[k] * (1 + z*se)))
			out = append(out, candidate{(x - 1) * max(age, 1) * onsets[k%len(onsets)], w})
		}
	}
	for i := range ln {
		w := linePrior * math.Exp(-(ln[i].chi-best)/2)
		if w < 1e-3 {
			continue
		}
		for _, z := range scatter {
			b := ln[i].slope + z*ln[i].u
			t := horizon * 2
			if gap := goal - ln[i].now*(1+z*se/2); b > 0 {
				t = min(gap/b, t)
			}
			out = append(out, candidate{t, w})
		}
	}
	return out
}

// lines are straight lines with a free start, over a share of the time since
// onset: what begins with a step goes on from there.
var lines = [...]float64{1, 0.5}

const linePrior = 0.8

// line is such a line: level now and slope per day above the baseline.
type line struct{ now, slope, u, chi float64 }

// fitLine fits a line to the days of the given age. Days before belong to the
// baseline and cost it what they cost a jump there.
func fitLine(y []float32, age, home, sd float64) line {
	n := len(y)
	var s stat.Line
	for i, v := range y {
		x := -(float64(n-1-i) + 0.5)
		if v == v && x >= 0.5-age {
			s.Add(x, float64(v)-home, weightOf(float64(v), home, sd))
		}
	}
	a, b := s.Fit()
	if math.IsNaN(b) {
		return line{chi: math.Inf(1)}
	}
	l := line{now: a, slope: b, u: s.SlopeScale() * math.Sqrt(scatterDays), chi: s.Misfit(a, b) / scatterDays}
	used := s.N
	if used < 4 {
		return line{chi: math.Inf(1)}
	}
	l.chi += lineCost + (float64(n)-used)/scatterDays
	return l
}

// lineCost is what one more free parameter must gain in misfit.
const lineCost = 2

// scatterDays is how many days the scatter of a contact hangs together: weather
// and humidity last about two.
const scatterDays = 3

// fitCourse returns the misfit and the amplitude of a course of the given age.
func fitCourse(c *course, y []float32, age, home, sd float64) (chi, amp float64) {
	gg, gy := 0.0, 0.0
	n := len(y)
	for i, v := range y {
		g := shape(c, i, n, age)
		if v != v {
			continue
		}
		w := weightOf(float64(v), home, sd)
		gg += w * g * g
		gy += w * g * (float64(v) - home)
	}
	if gg == 0 {
		return math.Inf(1), 0
	}
	amp = gy / gg
	for i, v := range y {
		if v != v {
			continue
		}
		r := float64(v) - home - amp*shape(c, i, n, age)
		chi += weightOf(float64(v), home, sd) * r * r
	}
	return chi / scatterDays, amp
}

// weightOf is one over the variance of a daily share: its relative scatter, and
// a hundredth of the limit.
func weightOf(v, home, sd float64) float64 {
	s := sd*(math.Abs(v-home)+0.05) + 0.01
	return 1 / (s * s)
}

// shape evaluates a course at day i of n; before its onset it is zero.
func shape(c *course, i, n int, age float64) float64 {
	x := 1 - (float64(n-1-i)+0.5)/age
	if x <= 0 {
		return 0
	}
	return c.at(x)
}

// from turns weighted moments of passing into quantiles.
func (o outlook) from(c []candidate) outlook {
	slices.SortFunc(c, func(a, b candidate) int {
		switch {
		case a.t < b.t:
			return -1
		case a.t > b.t:
			return 1
		}
		return 0
	})
	total := 0.0
	for i := range c {
		total += c[i].w
	}
	at := func(q float64) float64 {
		sum := 0.0
		for i := range c {
			if sum += c[i].w; sum >= q*total {
				return max(c[i].t, 0)
			}
		}
		return max(c[len(c)-1].t, 0)
	}
	p10, p50, p90 := at(0.1), at(0.5), at(0.9)
	p10, p90 = p50*math.Pow(min(p10/p50, 0.8), widen), p50*math.Pow(max(p90/p50, 1.25), widen)
	if !(p50 > 0) {
		p10, p50, p90 = 0, 0.5, 2
	}
	o.State = outlookDated
	if p50 > horizon {
		o.State = outlookFar
	}
	o.P10, o.P50, o.P90 = float32(p10), float32(p50), float32(p90)
	return o
}

// forecast dresses an outlook.
func (e *Engine) forecast(o *outlook) *finding.Forecast {
	if o.State == outlookNone {
		return nil
	}
	f := &finding.Forecast{State: finding.CannotTell, Quantity: finding.ErrorLimit, Unit: "degC", Value: float64(e.m.spec.LimitHigh)}
	if o.Side < 0 {
		f.Value = float64(e.m.spec.LimitLow)
	}
	if e.leadLimited() && e.s.Found[aboutContact].kind() != finding.ThermalEMF {
		f.Quantity, f.Unit, f.Value = finding.LeadsLimit, "ohm", float64(e.m.spec.LeadLimit)
	}
	switch o.State {
	case outlookDated:
		f.State = finding.Dated
		f.P10, f.P50 = moment(o.At, o.P10), moment(o.At, o.P50)
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
		f.Why = e.whyNot()
	}
	return f
}

// whyNot tells why there is no forecast.
func (e *Engine) whyNot() string {
	switch {
	case math.IsNaN(float64(e.m.spec.LimitHigh)) && math.IsNaN(float64(e.m.spec.LimitLow)) && !e.leadLimited():
		return "the loop has no limit"
	case e.fourWire():
		return "the leads of a four-wire loop cause no error and no lead limit is stated"
	case !e.s.Error.Known:
		return "the transmitter does not report the leads that cause the error"
	}
	return "not enough days of growth yet"
}
