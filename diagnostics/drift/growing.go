package drift

import (
	"math"

	"ohmdrift/diagnostics/drift/stat"
)

// growing is the share of the limit that a fault adds, day by day.
type growing struct {
	s    [days]float64 // oldest first, NaN = unknown
	wt   [days]float64 // one over the variance
	n    int
	used int     // known days
	goal float64 // where the limit is left
	age  float64 // days since onset
	late float64 // days since the newest of s ended
}

const (
	// scatterDays is how many days the scatter of a contact hangs together:
	// weather and humidity last about two, and a day more for their ends.
	scatterDays = 3
	leastShare  = 0.006 // of the limit: what rounding leaves uncertain in a daily share
	leastSd     = 0.03  // relative scatter of a day; humidity alone makes this much
	mostSd      = 0.8   // of a loose contact that swings with the weather
	moodySd     = 0.65  // above, days are of two kinds, as with shifts and weekends: the bad ones count
	unknownSd   = 0.15  // where there are too few days to tell
	leastSe     = 0.3   // of the scatter remains in a level however many days there are: wet and dry spells last weeks
)

// envelope makes each day the worst of the week that ends with it: of days with
// and without vibration, heat or rain those with leave the limit.
func (g *growing) envelope() {
	for i := g.n - 1; i >= 0; i-- {
		for j := max(0, i-6); j < i; j++ {
			if g.s[j] > g.s[i] || g.s[i] != g.s[i] {
				g.s[i] = g.s[j]
			}
		}
	}
}

// ago returns the middle of day i in days before now.
func (g *growing) ago(i int) float64 { return float64(g.n-1-i) + 0.5 + g.late }

// outlook carries every course forward that fits.
func (g *growing) outlook(o outlook) outlook {
	sd := g.scatterOf()
	if sd > moodySd {
		g.envelope()
		sd = g.scatterOf()
	}
	g.weigh(sd)
	var ways [len(courses)*len(onsets) + 2*len(windows)]path
	n, best := g.fitAll(&ways)
	if n == 0 || g.used < 2 {
		return o
	}
	// Where nothing fits the scatter is larger than thought.
	worse := max(1, best/max(float64(g.used)/scatterDays-2, 1))
	sd = min(sd*math.Sqrt(worse), mostSd)
	se := sd * max(leastSe, math.Sqrt(scatterDays/float64(g.used)))
	var buf [len(ways) * len(scatter)]candidate
	c, h := buf[:0], g.ahead(sd, se)
	for i := range n {
		w := &ways[i]
		if w.w *= math.Exp(-(w.chi - best) / 2 / worse); w.w >= 1e-3 {
			c = h.carry(w, c)
		}
	}
	if len(c) == 0 {
		return o
	}
	return o.from(c)
}

// ahead is what all courses are carried forward with.
type ahead struct {
	goal, near float64 // the limit, and from where scatter reaches it
	sd         float64 // of a day, relative
	fits       off     // a fit taken at its word
	off        [len(scatter)]off
	alone      [len(scatter)]float64 // goal less the deviation of a single chance
}

func (g *growing) ahead(sd, se float64) (h ahead) {
	h.goal, h.near, h.sd = g.goal, g.goal*math.Exp(-1.5*sd), sd
	h.fits = offBy(0, se)
	for j, z := range scatter {
		h.off[j] = offBy(z, se)
		h.alone[j] = h.below(ranks[j].u)
	}
	return h
}

// ranks are where the largest deviation stands among its like, each of seven once
// and in another order than scatter.
var ranks = func() (r [len(scatter)]rank) {
	for j := range r {
		u := (float64((3*j+3)%len(r)) + 0.5) / float64(len(r))
		r[j] = rank{u, math.Log(u)}
	}
	return r
}()

// rank is a probability and its logarithm.
type rank struct{ u, log float64 }

// root returns the nth root, n ≥ 1: of so many chances each stays below what has
// it as its probability. It is what math.Pow makes of u and 1/n.
func (r rank) root(n float64) float64 {
	switch y := 1 / n; {
	case y == 0.5:
		return math.Sqrt(r.u)
	case y > 0.5:
		return r.u * math.Exp((y-1)*r.log)
	default:
		return math.Exp(y * r.log)
	}
}

// below returns the level from which a deviation reaches the goal that is as
// large as or smaller than a share u of all.
func (h *ahead) below(u float64) float64 {
	return h.goal * math.Exp(-h.sd*(math.Sqrt2*math.Erfinv(2*u-1)))
}

// carry appends the moments at which one course passes. The first bad day
// counts, not the mean: while the level is within reach of the limit, scatter
// gets a chance every few days to carry it over, so what is asked is when the
// level reaches the limit less the largest of that many deviations.
func (h *ahead) carry(w *path, c []candidate) []candidate {
	chances := max(1, (w.passes(h.goal, &h.fits)-w.passes(h.near, &h.fits))/scatterDays)
	for j := range scatter {
		goal := h.alone[j]
		if chances != 1 {
			goal = h.below(ranks[j].root(chances))
		}
		c = append(c, candidate{w.passes(goal, &h.off[j]), w.w})
	}
	return c
}

// fitAll fits every course and line; it returns how many there are and the least
// misfit.
func (g *growing) fitAll(ways *[len(courses)*len(onsets) + 2*len(windows)]path) (n int, best float64) {
	best = math.Inf(1)
	keep := func(w path, ok bool) {
		if ok {
			ways[n], best = w, min(best, w.chi)
			n++
		}
	}
	var since [len(onsets)]ages
	for j, a := range onsets {
		g.since(g.age*a, &since[j])
	}
	for i := range courses {
		for j := range since {
			keep(g.fit(&courses[i], &since[j]))
		}
	}
	for _, share := range windows {
		keep(g.fitLine(g.age*share, false))
		keep(g.fitLine(g.age*share, true))
	}
	return n, best
}

// ages are the days as shares of an age: 0 is the onset, 1 is now.
type ages struct {
	age    float64
	x, log [days]float64 // log is that of x, where x > 0
}

// since fills a with the days at an age.
func (g *growing) since(age float64, a *ages) {
	a.age = age
	for i := range g.n {
		if a.x[i] = 1 - g.ago(i)/age; a.x[i] > 0 {
			a.log[i] = math.Log(a.x[i])
		}
	}
}

// fit fits a course of the given age.
func (g *growing) fit(c *course, a *ages) (path, bool) {
	var shape [days]float64
	gg, gy, chi := 0.0, 0.0, 0.0
	for i, v := range g.s[:g.n] {
		if v != v {
			continue
		}
		if a.x[i] > 0 {
			shape[i] = c.at(a.x[i], a.log[i])
		}
		gg += g.wt[i] * shape[i] * shape[i]
		gy += g.wt[i] * shape[i] * v
	}
	amp := gy / gg
	for i, v := range g.s[:g.n] {
		if v == v {
			r := v - amp*shape[i]
			chi += g.wt[i] * r * r
		}
	}
	return path{course: c, amp: amp, age: a.age, chi: chi / scatterDays, w: c.prior}, gg > 0 && amp > 0
}

// fitLine fits a line to the days of the given age. Days before belong to what
// was before and cost it what they would if they fitted.
func (g *growing) fitLine(age float64, folded bool) (path, bool) {
	var s stat.Line
	for i, v := range g.s[:g.n] {
		x := -g.ago(i)
		switch {
		case v != v || x < 0.5-age:
		case !folded:
			s.Add(x, v, g.wt[i])
		case v > 0.02: // below, a logarithm is one of noise
			s.Add(x, math.Log(v), g.wt[i]*v*v)
		}
	}
	a, b := s.Fit()
	if math.IsNaN(b) || s.N < 4 {
		return path{}, false
	}
	w := path{line: line{now: a, slope: b, u: s.SlopeScale() * math.Sqrt(scatterDays), folded: folded}, w: linePrior}
	if folded {
		w.line.now, w.w = math.Exp(a), foldedPrior
	}
	w.chi = (s.Misfit(a, b)+float64(g.used)-s.N)/scatterDays + lineCost
	return w, true
}

// scatterOf estimates the relative scatter of the days around their course from
// second differences; half as much again, since neighbouring days hang together.
func (g *growing) scatterOf() float64 {
	var d [days]float32
	n := 0
	for i := 2; i < g.n; i++ {
		a, b, c := g.s[i-2], g.s[i-1], g.s[i]
		if x := float32(math.Abs(a-2*b+c) / max(math.Abs(a+b+c)/3, 0.05)); x == x {
			d[n] = x
			n++
		}
	}
	if n < 3 {
		return unknownSd
	}
	return min(max(1.5*median32(d[:n])*madToSigma/math.Sqrt(6), leastSd), mostSd)
}

// weigh fills the weights: the scatter goes with the level, which is taken over
// five days so that a low day does not weigh more for being low.
func (g *growing) weigh(sd float64) {
	for i := range g.n {
		sum, k := 0.0, 0.0
		for j := max(0, i-2); j < min(g.n, i+3); j++ {
			if v := g.s[j]; v == v {
				sum, k = sum+v, k+1
			}
		}
		u := sd*(math.Abs(sum/max(k, 1))+0.05) + leastShare
		g.wt[i] = 1 / (u * u)
		if g.s[i] == g.s[i] {
			g.used++
		}
	}
}
