package drift

import (
	"math"

	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/quantity"
)

// The copper factor f is what the leads of a loop have in common: the copper
// resistance of the cable over that of the baseline. A lead is taken as
//
//	r = f·base + a + b·(f − 1) + season + track
//
// where a and b belong to the lead (terminals that do not follow the copper,
// sun or a hot line on one core), learnt in the baseline, season is what weeks
// taught (season.go), and track is the contact part of a lead that is known to
// be bad.

// ratio returns the copper factor that one channel alone would tell, by the line
// a + b·(f − 1).
func (c *chState) ratio(r, a, b float64) float64 {
	return (r - a + b - c.Track - float64(c.Season)) / (c.Base + b)
}

// factor returns the copper factor of one set of lead values. From three or
// four leads it is the mean of those that agree with the second lowest ratio:
// contacts only ever add, so of four leads two may be bad, of three one. Leads
// that somebody bridged have no say. From
// two it is their mean while they agree, else the one that is nearer to the last
// factor; a single sum takes what others tell.
func (e *Engine) factor(v *[channels]float64, fr *frame, nb *Neighbour) (float64, bool) {
	var q [channels]float64
	n, left := 0, e.unbridged(v, fr)
	for k := range e.m.n {
		c := &e.s.Ch[k]
		if c.Base <= 0 || math.IsNaN(v[k]) || left>>k&1 == 0 {
			continue
		}
		x := c.ratio(v[k], fr.a[k], fr.b[k])
		i := n
		for ; i > 0 && q[i-1] > x; i-- {
			q[i] = q[i-1]
		}
		q[i] = x
		n++
	}
	switch {
	case e.m.n == 1:
		f, ok := e.ofOthers(nb)
		e.s.Copper.Alone = !ok
		return f, ok || n == 1
	case e.m.n >= 3 && (n >= 2 || n > 0 && left != everyChannel): // one alone is no copper: it may be bad
		return ofMany(q[:n], fr.wide), true
	case n == 2 && e.m.n == 2:
		if k, ok := e.oneBad(fr.wide); ok {
			j := 1 - k
			return e.ofSound(e.s.Ch[j].ratio(v[j], fr.a[j], fr.b[j]), e.s.Ch[k].ratio(v[k], fr.a[k], fr.b[k])), true
		}
		if k, ok := e.s.Copper.Moved.mover(); ok {
			j := 1 - k
			return ofTold(e.s.Ch[j].ratio(v[j], fr.a[j], fr.b[j]), e.s.Ch[k].ratio(v[k], fr.a[k], fr.b[k]), fr.wide), true
		}
		return e.ofTwo(q[0], q[1], fr.wide)
	}
	return 0, false
}

// aloneEarly is how many blocks of a baseline that rests on the transmitter are
// given up when neighbours come to be heard: two days, by which they have one.
const aloneEarly = 8

// ofOthers returns the copper factor of a single sum: that of its neighbours, or
// what the temperature of the transmitter makes of copper where there are none.
// One baseline rests on one of the two.
func (e *Engine) ofOthers(nb *Neighbour) (float64, bool) {
	c := &e.s.Copper
	if nb != nil && nb.Loops > 0 {
		if c.Heard = true; !c.ByDevice {
			return nb.Factor, true
		}
	}
	if !c.ByDevice || !c.Sends {
		return 1, false
	}
	return copper.Factor(copper.Alpha20, quantity.DegC(c.Device)) / copper.Factor(copper.Alpha20, quantity.DegC(c.HomeT)), true
}

// hear takes the temperature of the transmitter, °C; NaN where it sends none.
func (c *copperState) hear(t float64) {
	if c.Sends = t == t; c.Sends {
		c.Device = t
	}
}

// chooseReference begins the baseline of a single sum: on its neighbours if they
// were heard, else on the transmitter if it sends a temperature.
func (e *Engine) chooseReference() {
	c := &e.s.Copper
	c.ByDevice, c.HomeT = e.m.n == 1 && !c.Heard && c.Sends, c.Device
}

// tooSoon gives a young baseline on the transmitter up once neighbours are heard.
func (e *Engine) tooSoon() bool {
	c := &e.s.Copper
	return c.ByDevice && c.Heard && c.Blocks < aloneEarly
}

// untold tells whether nothing is known of the copper of a single sum: nobody
// tells, or the transmitter's temperature did not go with it in the baseline. One
// in a cooled cabinet knows nothing of a buried cable.
func (e *Engine) untold(k int) bool {
	c, ch := &e.s.Copper, &e.s.Ch[k]
	if e.m.n != 1 {
		return false
	}
	return c.Alone || c.ByDevice && deviceTells*float64(ch.Scale) > ch.Fit.spread()*ch.Base
}

// deviceTells is how many times the scatter of a block the copper must have moved
// by what the transmitter says.
const deviceTells = 2

// everyChannel has the bit of every channel.
const everyChannel = 1<<channels - 1

// unbridged returns the channels, as bits, of which more than bridgedShare is left:
// two jumpers would pass for the copper of a cable without length, and the sound
// leads for risen ones. All leads together are another cable; of two values each is
// held against the last factor instead.
func (e *Engine) unbridged(v *[channels]float64, fr *frame) uint8 {
	left, some := uint8(everyChannel), false
	for k := range e.m.n {
		if v[k] < fr.left[k] {
			left &^= 1 << k
		} else {
			some = some || v[k] == v[k]
		}
	}
	if !some || e.m.n < 3 {
		return everyChannel
	}
	return left
}

// lost returns by how much a lead of so many Ω must have fallen to be bridged:
// short ones fall by half of their length without a jumper.
func lost(base float64) float64 { return max(bridgedShare*base, shortOhm) }

// copperOf returns which of n sorted ratios or levels is copper's: the second
// lowest, of one or two the lowest.
func copperOf(n int) int { return min(max(n-2, 0), 1) }

// ofMany joins sorted ratios of three or four leads, or of those that are not
// bridged: the mean of those that agree with what is copper's. The mean keeps what
// rounding would hide, the gate keeps out what is no copper.
func ofMany(q []float64, gate float64) float64 {
	ref := q[copperOf(len(q))]
	sum, n := 0.0, 0
	for _, x := range q {
		if math.Abs(x-ref) <= gate {
			sum += x
			n++
		}
	}
	return sum / float64(n)
}

// fellBy is a fall of the copper factor that no weather makes between two
// polls, 5 K: a lead that fell so much was retightened, or its value is bad.
const fellBy = 0.02

// ofTwo joins two ratios, the lower first. Contacts and hot lines add, so the
// lower one is copper, unless it is the one that fell and the other is nearer to the
// last factor. While they agree it is
// their mean, and nothing jumps where they cease to.
func (e *Engine) ofTwo(lo, hi, gate float64) (float64, bool) {
	c := &e.s.Copper
	if c.Known && lo < c.F*(1-fellBy) && hi > c.F*(1-fellBy/2) && hi-c.F < c.F-lo {
		return hi, true
	}
	return lo + min((hi-lo)/2, gate/2), true
}

// ofTold joins two ratios, the first of the lead that is sound as the neighbours say: it
// is their mean while they agree, as of two of which nothing is known.
func ofTold(sound, other, gate float64) float64 {
	return sound + within((other-sound)/2, gate/2)
}

// farGates is how far a lead must stand away, in gates, to be left out of the
// copper factor of two: damp moves a contact by a tenth, a third of a gate then.
// Nearer the mean of both is better, for it keeps what rounding hides.
const farGates = 3

// oneBad returns which of two channels stands far away from its baseline; ok is
// false where none or both do.
func (e *Engine) oneBad(gate float64) (k int, ok bool) {
	far := farGates * gate
	away := func(k int) bool { return math.Abs(e.s.Ch[k].Track) > far*e.s.Ch[k].Base }
	a, b := away(0), away(1)
	if b {
		k = 1
	}
	return k, a != b
}

// ofSound joins two ratios, the second of a lead that is known to be bad. Such a
// lead is no thermometer: damp moves its contact by a tenth from day to day, and
// where it is below what was taken off it would pass for cold copper and the
// sound lead for a risen one. It is asked only where the sound one moved as no
// copper does, between two polls.
func (e *Engine) ofSound(sound, bad float64) float64 {
	c := &e.s.Copper
	if c.Known && math.Abs(sound-c.F) > c.F*fellBy && math.Abs(bad-c.F) < c.F*fellBy/2 {
		return bad
	}
	return sound
}

// ref returns the factor at which the present baseline began: a new cable starts
// at 1 again while its temperature goes on.
func (c *copperState) ref() float64 { return 1 + c.Carried }

// own returns the copper factor as the loop itself shows it: that of a single
// sum is not its neighbours' factor.
func (e *Engine) own(v *[channels]float64, f float64) float64 {
	if e.m.n != 1 {
		return f
	}
	return v[0] / e.s.Ch[0].Base
}

// fit of the contact part on the copper factor.

// priorSlope says how strongly the line is held to be level: as much as this
// much spread of f − 1 (sum of squares) would say. A block by day and one by
// night differ by some 0.03; ten days of that give 0.01.
const priorSlope = 0.004

// fitFade is the weight that older blocks keep with each new one: the line
// follows terminals that settle after work, over ten days.
const fitFade = 1 - 1.0/40

func (l *fit) add(f, c float64) {
	x, y := float32(f-1), float32(c)
	l.N, l.F, l.FF, l.C, l.FC = l.N*fitFade, l.F*fitFade, l.FF*fitFade, l.C*fitFade, l.FC*fitFade
	l.N++
	l.F += x
	l.FF += x * x
	l.C += y
	l.FC += x * y
}

// lift moves the line by a level, Ω.
func (l *fit) lift(level float64) {
	l.C += float32(level) * l.N
	l.FC += float32(level) * l.F
}

// spread returns the standard deviation of the factors that the line was fitted
// to.
func (l *fit) spread() float64 {
	if l.N == 0 {
		return 0
	}
	m := float64(l.F / l.N)
	return math.Sqrt(max(0, float64(l.FF/l.N)-m*m))
}

// away returns how far factor f is from the mean of those that the line was
// fitted to.
func (l *fit) away(f float64) float64 {
	if l.N == 0 {
		return 0
	}
	return math.Abs(f - 1 - float64(l.F/l.N))
}

// steepest is the most that a lead's own slope may be, of its copper: sun or a
// hot line on one core make it some tenths steeper or flatter. Values that
// rounding holds still fit a slope of minus all of its copper, and then nothing
// is left to divide by.
const steepest = 0.5

// usual returns the contact part that belongs to the channel at factor f and in
// this season, Ω.
func (c *chState) usual(f float64) float64 { return c.line(f) + float64(c.Season) }

// line returns the contact part that the baseline alone gives at factor f, Ω.
func (c *chState) line(f float64) float64 {
	a, b := c.Fit.line(steepest * c.Base)
	return a + b*(f-1)
}

// line returns a and b; b is at most so steep.
func (l *fit) line(most float64) (a, b float64) {
	if l.N == 0 {
		return 0, 0
	}
	n, mf, mc := float64(l.N), float64(l.F/l.N), float64(l.C/l.N)
	b = (float64(l.FC) - n*mf*mc) / (float64(l.FF) - n*mf*mf + priorSlope)
	b = min(max(b, -most), most)
	return mc - b*mf, b
}
