package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// metresPer holds the length units that people write beside a number.
var metresPer = map[string]float64{
	"mm": 1e-3, "cm": 1e-2, "m": 1, "km": 1e3,
	"in": 0.0254, "ft": 0.3048, "yd": 0.9144, // exact by the international yard of 1959
}

// maxLength bounds what a lead can be, in m; more is a typing error.
const maxLength = 1e5

// ParseLength reads a length with its unit: "15 ft", "12 m", "30 cm". A bare
// number is refused: 15 could be either.
func ParseLength(s string) (Metre, error) {
	v, unit, err := splitUnit(s)
	if err != nil {
		return 0, fmt.Errorf("length %q: %w; write \"12 m\" or \"40 ft\"", s, err)
	}
	per, ok := metresPer[unit]
	if !ok {
		return 0, fmt.Errorf("length %q: %s; write \"12 m\" or \"40 ft\"", s, unitProblem(unit))
	}
	if v *= per; v < 0 || v > maxLength {
		return 0, fmt.Errorf("length %q: want 0 to %g m", s, float64(maxLength))
	}
	return Metre(v), nil
}

// ParseTemp reads a temperature with its unit: "0 C", "100 °C", "32 F", "300 K".
func ParseTemp(s string) (DegC, error) {
	v, unit, err := splitUnit(s)
	if err != nil {
		return 0, fmt.Errorf("temperature %q: %w; write \"20 C\" or \"68 F\"", s, err)
	}
	switch strings.TrimPrefix(strings.TrimPrefix(unit, "°"), "deg") {
	case "c", "C":
	case "f", "F":
		v = (v - 32) / 1.8
	case "k", "K":
		v -= 273.15
	default:
		return 0, fmt.Errorf("temperature %q: %s; write \"20 C\" or \"68 F\"", s, unitProblem(unit))
	}
	if v < -273.15 || v > 5000 {
		return 0, fmt.Errorf("temperature %q: want −273.15 to 5000 °C", s)
	}
	return DegC(v), nil
}

// ParsePerLength reads the resistance of one conductor per length as measured
// or catalogued: "36 ohm/km", "0.69 ohm/100 ft", "16.1 Ω/1000 ft".
func ParsePerLength(s string) (OhmPerMetre, error) {
	num, den, ok := strings.Cut(s, "/")
	if !ok {
		return 0, fmt.Errorf("resistance per length %q: no slash; write \"36 ohm/km\" or \"0.69 ohm/100 ft\"", s)
	}
	ohm, err := ParseOhm(num)
	if err != nil {
		return 0, err
	}
	den = strings.TrimSpace(den)
	if den != "" && (den[0] < '0' || den[0] > '9') {
		den = "1 " + den
	}
	length, err := ParseLength(den)
	if err != nil {
		return 0, err
	}
	if length == 0 || ohm <= 0 || float64(ohm)/float64(length) > 1e3 {
		return 0, fmt.Errorf("resistance per length %q: want more than 0 and at most 1000 ohm/m", s)
	}
	return OhmPerMetre(float64(ohm) / float64(length)), nil
}

// ParseOhm reads a resistance with its unit: "0.5 ohm", "12 mΩ", "10 kohm".
func ParseOhm(s string) (Ohm, error) {
	v, unit, err := splitUnit(s)
	if err != nil {
		return 0, fmt.Errorf("resistance %q: %w; write \"0.5 ohm\"", s, err)
	}
	prefix := strings.TrimSuffix(strings.TrimSuffix(strings.TrimSuffix(unit, "Ω"), "ohm"), "Ohm")
	scale, ok := map[string]float64{"u": 1e-6, "µ": 1e-6, "m": 1e-3, "": 1, "k": 1e3, "M": 1e6}[prefix]
	if !ok || prefix == unit {
		return 0, fmt.Errorf("resistance %q: %s; write \"0.5 ohm\"", s, unitProblem(unit))
	}
	return Ohm(v * scale), nil
}

// ParseShare reads a part of a whole: "5%", "5 %" or "0.05". A bare number
// above 1 is refused, for it could be meant as percent.
func ParseShare(s string) (float64, error) {
	body, percent := strings.CutSuffix(strings.TrimSpace(s), "%")
	v, err := strconv.ParseFloat(strings.TrimSpace(body), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
		return 0, fmt.Errorf("share %q: not a share; write \"5%%\"", s)
	}
	if percent {
		v /= 100
	} else if v > 1 {
		return 0, fmt.Errorf("share %q: above 1 without a percent sign; write \"%s%%\"", s, body)
	}
	return v, nil
}

// splitUnit parts "15 ft" or "15ft" into 15 and ft. The number is plain
// decimal: no hexadecimal, no NaN, no infinity.
func splitUnit(s string) (float64, string, error) {
	s = strings.TrimSpace(strings.ReplaceAll(s, "−", "-"))
	end := 0
	for end < len(s) && strings.IndexByte("+-.0123456789", s[end]) >= 0 {
		end++
	}
	if e := exponentEnd(s, end); e > end {
		end = e
	}
	v, err := strconv.ParseFloat(s[:end], 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, "", fmt.Errorf("no number")
	}
	return v, strings.TrimSpace(s[end:]), nil
}

// exponentEnd returns the end of an exponent such as e-3 that starts at from,
// or from when there is none ("5 e" has none).
func exponentEnd(s string, from int) int {
	i := from
	if i >= len(s) || (s[i] != 'e' && s[i] != 'E') {
		return from
	}
	i++
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	digits := i
	for i < len(s) && s[i] >= '0' && s[i] <= '9' {
		i++
	}
	if i == digits {
		return from
	}
	return i
}

func unitProblem(unit string) string {
	if unit == "" {
		return "no unit"
	}
	return fmt.Sprintf("unit %q not known", unit)
}
