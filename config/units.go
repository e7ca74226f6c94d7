package config

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"ohmdrift/diagnostics/quantity"
)

// A pattern for editors; the parser of the unit has the last word.
func unitSchema(units string, examples ...any) schema {
	return schema{"type": "string", "pattern": `^-?[0-9.]+([eE][-+]?[0-9]+)?\s*(` + units + `)$`, "examples": examples}
}

var withUnit = regexp.MustCompile(`^(-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?)\s*(.*)$`)

// measured reads "number unit" with one of the given units, each with its
// factor to the base unit.
func measured[V ~float64](factors map[string]float64, order []string, example string) grammar[V] {
	sch := unitSchema(strings.Join(order, "|"), example)
	return grammar[V]{either, sch, func(s string) (V, *fault) {
		v, f := splitMeasured(s, factors, order, example)
		return V(v), f
	}}
}

func splitMeasured(s string, factors map[string]float64, order []string, example string) (float64, *fault) {
	m := withUnit.FindStringSubmatch(s)
	if m == nil {
		_, f := parseNumber(s)
		if f == nil || !strings.ContainsAny(s, "0123456789") {
			return 0, faultf(fmt.Sprintf("write %q", example), "%q is not a number with a unit", clip(s))
		}
		return 0, faultf(fmt.Sprintf("write %q", example), "%q does not begin with a plain decimal number", clip(s))
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		return 0, faultf(fmt.Sprintf("write %q", example), "%q is too large", clip(s))
	}
	switch {
	case m[2] == "":
		return 0, faultf(fmt.Sprintf("write %q, or another of %s", m[1]+" "+order[0], strings.Join(order[1:], ", ")), "%q has no unit", s)
	case m[2][0] == ',':
		return 0, faultf(fmt.Sprintf("write %q", m[1]+"."+m[2][1:]), "%q has a decimal comma", clip(s))
	}
	k, ok := factors[m[2]]
	if !ok {
		return 0, faultf("want "+orList(order)+fmt.Sprintf(", as in %q", example), "%q has an unknown unit", clip(s))
	}
	return v * k, nil
}

var (
	secondsPer = map[string]float64{"us": 1e-6, "ms": 1e-3, "s": 1, "min": 60, "h": 3600, "d": 86400}
	ohmPer     = map[string]float64{"ohm": 1, "Ohm": 1, "Ω": 1, "mohm": 1e-3, "mOhm": 1e-3, "mΩ": 1e-3, "kohm": 1e3, "kOhm": 1e3, "kΩ": 1e3}
	deltaPer   = map[string]float64{"degC": 1, "°C": 1, "C": 1, "K": 1, "mK": 1e-3, "degF": 5.0 / 9, "°F": 5.0 / 9, "F": 5.0 / 9}
	voltPer    = map[string]float64{"uV": 1e-6, "µV": 1e-6, "mV": 1e-3, "V": 1}
	amperePer  = map[string]float64{"uA": 1e-6, "µA": 1e-6, "mA": 1e-3, "A": 1}
	partPer    = map[string]float64{"%": 1e-2, "ppm": 1e-6}
)

// lasting is a duration with its unit, from low to high.
func lasting(low, high time.Duration) grammar[time.Duration] {
	order := []string{"s", "ms", "us", "min", "h", "d"}
	return grammar[time.Duration]{either, unitSchema(strings.Join(order, "|"), "10 s"), func(s string) (time.Duration, *fault) {
		v, f := splitMeasured(s, secondsPer, order, "10 s")
		if f != nil {
			if sexagesimal.MatchString(s) {
				f.hint = `write it with one unit, as in "90 s"`
			}
			return 0, f
		}
		if v < low.Seconds() || v > high.Seconds() {
			return 0, faultf("want "+since(low)+" to "+since(high), "%q is out of range", clip(s))
		}
		return time.Duration(v*float64(time.Second) + 0.5), nil
	}}
}

// since writes a duration with the largest unit that divides it.
func since(d time.Duration) string {
	for _, u := range []struct {
		name string
		d    time.Duration
	}{{"d", 24 * time.Hour}, {"h", time.Hour}, {"min", time.Minute}, {"s", time.Second}, {"ms", time.Millisecond}} {
		if d >= u.d && d%u.d == 0 {
			return fmt.Sprintf("%d %s", d/u.d, u.name)
		}
	}
	return fmt.Sprintf("%g s", d.Seconds())
}

func ohms(low, high quantity.Ohm) grammar[quantity.Ohm] {
	g := measured[quantity.Ohm](ohmPer, []string{"ohm", "mohm", "kohm", "Ohm", "mOhm", "kOhm", "Ω", "mΩ", "kΩ"}, "0.5 ohm")
	return within(g, low, high, fmt.Sprintf("%g to %g ohm", float64(low), float64(high)))
}

func deltas(low, high quantity.DeltaC) grammar[quantity.DeltaC] {
	g := measured[quantity.DeltaC](deltaPer, []string{"degC", "°C", "C", "K", "mK", "degF", "°F", "F"}, "0.5 degC")
	return within(g, low, high, fmt.Sprintf("%g to %g degC", float64(low), float64(high)))
}

func volts(high quantity.Volt) grammar[quantity.Volt] {
	g := measured[quantity.Volt](voltPer, []string{"uV", "µV", "mV", "V"}, "5 uV")
	return within(g, 0, high, fmt.Sprintf("0 to %g V", float64(high)))
}

func amperes(low, high quantity.Ampere) grammar[quantity.Ampere] {
	g := measured[quantity.Ampere](amperePer, []string{"uA", "µA", "mA", "A"}, "0.2 mA")
	return within(g, low, high, fmt.Sprintf("%g to %g A", float64(low), float64(high)))
}

func parts(high float64) grammar[float64] {
	return within(measured[float64](partPer, []string{"%", "ppm"}, "0.1 %"), 0, high, fmt.Sprintf("0 to %g %%", high*100))
}

// length is a cable length; conductors and lengths are read by the packages
// that own their physics.
func length() grammar[quantity.Metre] {
	return by(quantity.ParseLength, unitSchema("mm|cm|m|km|in|ft|yd", "12 m", "40 ft"))
}
