package drift

import "math"

// sums gathers a weighted straight line y = a + b x by its running sums.
type sums struct{ n, w, x, xx, y, xy, yy float64 }

// add takes a point of weight w > 0.
func (l *sums) add(x, y, w float64) {
	l.n++
	l.w += w
	l.x += w * x
	l.xx += w * x * x
	l.y += w * y
	l.xy += w * x * y
	l.yy += w * y * y
}

// det is w Σw(x − mean)².
func (l *sums) det() float64 { return l.w*l.xx - l.x*l.x }

// fit returns intercept and slope by least squares; NaN for fewer than two
// different x.
func (l *sums) fit() (a, b float64) {
	d := l.det()
	if !(d > 0) {
		return nan, nan
	}
	b = (l.w*l.xy - l.x*l.y) / d
	return (l.y - b*l.x) / l.w, b
}

// misfit returns Σ w (y − a − b x)².
func (l *sums) misfit(a, b float64) float64 {
	return l.yy - 2*a*l.y - 2*b*l.xy + a*a*l.w + 2*a*b*l.x + b*b*l.xx
}

// slopeScale returns the standard error of the slope for points whose weights
// are one over their variance.
func (l *sums) slopeScale() float64 { return math.Sqrt(l.w / l.det()) }
