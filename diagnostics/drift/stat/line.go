package stat

import "math"

// Line gathers a weighted straight line y = A + B x by its running sums. The
// zero value is empty. Centre x first where it is large, such as a time.
type Line struct{ N, W, X, XX, Y, XY, YY float64 }

// Add takes a point of weight w > 0.
func (l *Line) Add(x, y, w float64) {
	l.N++
	l.W += w
	l.X += w * x
	l.XX += w * x * x
	l.Y += w * y
	l.XY += w * x * y
	l.YY += w * y * y
}

// det is W Σw(x − mean)².
func (l *Line) det() float64 { return l.W*l.XX - l.X*l.X }

// Fit returns intercept and slope by least squares; NaN for fewer than two
// different x.
func (l *Line) Fit() (a, b float64) {
	d := l.det()
	if !(d > 0) {
		return math.NaN(), math.NaN()
	}
	b = (l.W*l.XY - l.X*l.Y) / d
	return (l.Y - b*l.X) / l.W, b
}

// Misfit returns Σ w (y − a − b x)².
func (l *Line) Misfit(a, b float64) float64 {
	return l.YY - 2*a*l.Y - 2*b*l.XY + a*a*l.W + 2*a*b*l.X + b*b*l.XX
}

// SlopeScale returns the standard error of the slope for points whose weights
// are one over their variance.
func (l *Line) SlopeScale() float64 { return math.Sqrt(l.W / l.det()) }
