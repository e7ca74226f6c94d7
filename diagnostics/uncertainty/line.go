package uncertainty

import (
	"fmt"
	"math"
)

// Line is a straight line fitted by least squares, as in a calibration
// certificate: y = Intercept + Slope·(x − At).
type Line struct {
	At        float64 // where the intercept stands
	Intercept float64
	Slope     float64
	U0, U1    float64 // standard uncertainties of intercept and slope
	R         float64 // their correlation
	S         float64 // standard deviation of the residuals
	Degrees   float64 // n − 2
}

// FitLine fits a line to at least three points with two different x (GUM H.3).
// The spread of the residuals stands for the uncertainty of each y.
func FitLine(x, y []float64, at float64) (Line, error) {
	n := float64(len(x))
	if len(x) != len(y) || len(x) < 3 {
		return Line{}, fmt.Errorf("line through %d and %d values: want at least 3 pairs", len(x), len(y))
	}
	var mx, my float64 // centred sums keep their digits
	for i := range x {
		mx += x[i] / n
		my += y[i] / n
	}
	var sxx, sxy float64
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
	}
	if !(sxx > 0) {
		return Line{}, fmt.Errorf("line through values at one x only")
	}
	l := Line{At: at, Slope: sxy / sxx, Degrees: n - 2}
	l.Intercept = my + l.Slope*(at-mx)
	ss := 0.0
	for i := range x {
		d := y[i] - l.Intercept - l.Slope*(x[i]-at)
		ss += d * d
	}
	l.S = math.Sqrt(ss / l.Degrees)
	l.U1 = l.S / math.Sqrt(sxx)
	l.U0 = l.S * math.Sqrt(1/n+(at-mx)*(at-mx)/sxx)
	l.R = (at - mx) / math.Sqrt(sxx/n+(at-mx)*(at-mx))
	return l, nil
}

// Predict returns the line at x and its standard uncertainty; a new single
// observation scatters by S on top.
func (l Line) Predict(x float64) (y, u float64) {
	d := x - l.At
	v := l.U0*l.U0 + d*d*l.U1*l.U1 + 2*d*l.R*l.U0*l.U1
	return l.Intercept + l.Slope*d, math.Sqrt(max(v, 0))
}
