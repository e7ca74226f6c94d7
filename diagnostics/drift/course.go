package drift

import "math"

// course is one shape g(x) of growth, with x = time since onset over its value
// now, so that x = 1 is now.
type course struct {
	law   law
	p     float64
	prior float64
}

type law uint8

const (
	power     law = iota // x^p
	folds                // e^(p·x) − 1
	hyperbola            // x/(1 − p·x), ends at x = 1/p
	spot                 // 1/(1 − √(p·x)) − 1: the radius of the spot shrinks with the root of time, R ∝ 1/radius
)

// courses are the shapes tried. Their priors say how common they are: most
// contacts go up straight or a little bent, few run away at once. With half the
// weight of the exponentials, or a third of that of the last two, coverage moves
// by a point and width by 3 %.
var courses = [...]course{
	{power, 0.7, 0.7},
	{power, 1, 1.5},
	{power, 1.4, 1},
	{power, 2, 0.6},
	{power, 3, 0.3},
	{folds, 1, 0.7},
	{folds, 2, 0.7},
	{folds, 3, 0.6},
	{folds, 4, 0.4},
	{folds, 5.5, 0.3},
	{hyperbola, 0.5, 0.3},
	{hyperbola, 0.75, 0.3},
	{hyperbola, 0.9, 0.2},
	{spot, 0.5, 0.3},
	{spot, 0.75, 0.3},
	{spot, 0.9, 0.2},
}

// onsets are the ages tried, as multiples of the time since the level was last
// near zero: it left zero some time before it could be seen.
var onsets = [...]float64{0.9, 1.1, 1.4, 1.9}

// at returns the shape at x > 0, whose logarithm is log: two of the powers need
// it, for the same days. Powers are what math.Pow makes of them, without its
// look for what kind of exponent it has.
func (c *course) at(x, log float64) float64 {
	switch c.law {
	case power:
		switch c.p {
		case 1:
			return x
		case 2:
			return x * x
		case 3:
			return x * (x * x)
		}
		return x * math.Exp((c.p-1)*log)
	case folds:
		return math.Expm1(c.p * x)
	case hyperbola:
		return x / (1 - c.p*x)
	}
	r := math.Sqrt(c.p * x)
	return r / (1 - r)
}

// reaches returns the x at which the shape reaches y.
func (c *course) reaches(y float64) float64 {
	switch c.law {
	case power:
		if c.p == 1 {
			return y
		}
		return math.Pow(y, 1/c.p)
	case folds:
		return math.Log1p(y) / c.p
	case hyperbola:
		return y / (1 + c.p*y)
	}
	r := y / (1 + y)
	return r * r / c.p
}

// line is growth from where the level stands now: straight, or by a constant
// factor a day where it is a line through the logarithms. What begins with a
// step goes on so, and the last days tell best what is speeding up.
type line struct {
	now    float64 // level
	slope  float64 // a day
	u      float64 // standard error of the slope
	folded bool
}

// windows are the shares of the time since onset that lines are fitted to.
var windows = [...]float64{1, 0.5, 0.25}

const (
	linePrior   = 0.8
	foldedPrior = 0.4 // a contact that steps and then multiplies is the rarer one
	lineCost    = 2   // misfit that one more free parameter must gain
)

// path is a course or a line that was fitted, with its weight.
type path struct {
	course   *course // nil: a line
	amp, age float64
	line     line
	chi, w   float64
}

// never stands for a passing that is not to be expected, days.
const never = 4 * horizon

// off is by how much a fit is taken to be off.
type off struct {
	z     float64 // standard errors
	level float64 // factor on the level of a course
	folds float64 // on that of a line, as a logarithm: half as much
	start float64 // the same as a factor
}

// offBy returns what z standard errors are, of a level known to se.
func offBy(z, se float64) off {
	return off{z: z, level: math.Exp(z * se), folds: z * se / 2, start: math.Exp(z * se / 2)}
}

// passes returns the days until a level is reached, with the fit off by so much.
func (w *path) passes(goal float64, o *off) float64 {
	if w.course != nil {
		return min((w.course.reaches(goal/(w.amp*o.level))-1)*w.age, never)
	}
	l := &w.line
	gap, rate := goal-l.now*o.start, l.slope+o.z*l.u
	if l.folded {
		gap = math.Log(goal/l.now) - o.folds
	}
	switch {
	case gap <= 0:
		return 0
	case rate <= 0:
		return never
	}
	return min(gap/rate, never)
}
