package copper

import (
	"fmt"
	"strconv"
	"strings"

	"ohmdrift/diagnostics/quantity"
)

// The sizes that ParseConductor takes.
const (
	minGauge, maxGauge = 0, 40
	minArea, maxArea   = 0.01, 50 // mm²
)

// words is a conductor taken apart.
type words struct {
	gauge                 int
	area                  float64 // mm²; 0 = by gauge
	class                 int     // IEC 60228; 0 = not given
	stranded, solid       bool
	tinned, constantan    bool
	nickel, conductivity  float64 // shares
	hasNickel, hasPercent bool
}

// ParseConductor reads a conductor: see the package comment for every form.
func ParseConductor(s string) (Conductor, error) {
	if strings.Contains(s, "/") {
		per, err := quantity.ParsePerLength(s)
		if err != nil {
			return Conductor{}, err
		}
		return Measured(per), nil
	}
	fields := strings.Fields(strings.ToLower(s))
	w, rest, err := parseSize(fields)
	if err == nil {
		err = w.parseRest(rest)
	}
	if err == nil {
		err = w.contradiction()
	}
	if err != nil {
		return Conductor{}, fmt.Errorf("conductor %q: %w", s, err)
	}
	return w.conductor(), nil
}

const sizeHint = `write "22 AWG" or "0.5 mm2"`

// parseSize reads "22 awg", "22awg", "awg 22", "0.5 mm2", "0.5mm²" from the
// first fields and returns the others.
func parseSize(f []string) (w words, rest []string, err error) {
	if len(f) == 0 {
		return w, nil, fmt.Errorf("empty; %s", sizeHint)
	}
	number, unit, used := f[0], "", 1
	switch end := strings.LastIndexAny(number, "0123456789."); {
	case number == "awg" && len(f) > 1:
		number, unit, used = f[1], "awg", 2
	case strings.HasSuffix(number, "mm2"):
		number, unit = strings.TrimSuffix(number, "mm2"), "mm2"
	case end >= 0 && end < len(number)-1:
		number, unit = number[:end+1], number[end+1:]
	case len(f) > 1:
		unit, used = f[1], 2
	}
	switch unit {
	case "awg":
		w.gauge, err = strconv.Atoi(number)
		if err != nil || w.gauge < minGauge || w.gauge > maxGauge {
			return w, nil, fmt.Errorf("gauge %q: want a whole number from %d to %d", number, minGauge, maxGauge)
		}
	case "mm2", "mm²", "sqmm":
		w.area, err = strconv.ParseFloat(number, 64)
		if err != nil || !(w.area >= minArea && w.area <= maxArea) {
			return w, nil, fmt.Errorf("cross-section %q: want %g to %g mm2", number, minArea, float64(maxArea))
		}
	default:
		return w, nil, fmt.Errorf("no unit; %s", sizeHint)
	}
	return w, f[used:], nil
}

// parseRest reads the words after the size.
func (w *words) parseRest(f []string) error {
	for i := 0; i < len(f); i++ {
		next := ""
		if i+1 < len(f) {
			next = f[i+1]
		}
		switch f[i] {
		case "solid":
			w.solid = true
		case "plain", "copper":
		case "stranded":
			w.stranded = true
		case "tinned", "coated":
			w.tinned = true
		case "constantan":
			w.constantan = true
		case "class":
			c, err := strconv.Atoi(next)
			if err != nil || c != 1 && c != 2 && c != 5 {
				return fmt.Errorf("class %q: want 1, 2 or 5 of IEC 60228", next)
			}
			w.class, i = c, i+1
		case "nickel", "nickel-plated":
			share, err := quantity.ParseShare(next)
			if err != nil || share <= 0 || share > 0.5 {
				return fmt.Errorf("nickel %q: want a share by weight such as 27%%", next)
			}
			w.nickel, w.hasNickel, i = share, true, i+1
		default:
			share, err := quantity.ParseShare(f[i])
			if err != nil || next != "iacs" || share < 0.1 || share > 1.1 {
				return fmt.Errorf("%q not known; want solid, stranded, tinned, class 5, nickel 27%%, 97%% IACS or constantan", f[i])
			}
			w.conductivity, w.hasPercent, i = share, true, i+1
		}
	}
	return nil
}

func (w *words) contradiction() error {
	switch {
	case w.solid && (w.stranded || w.class == 2 || w.class == 5):
		return fmt.Errorf("both solid and stranded")
	case w.stranded && w.class == 1:
		return fmt.Errorf("class 1 is solid, not stranded")
	case w.class != 0 && w.area == 0:
		return fmt.Errorf("class %d goes with a cross-section in mm2, not with AWG", w.class)
	case w.constantan && (w.tinned || w.hasNickel || w.hasPercent || w.class != 0):
		return fmt.Errorf("constantan goes with solid or stranded only")
	case w.hasNickel && (w.tinned || w.hasPercent):
		return fmt.Errorf("nickel goes without tinned and without IACS")
	}
	return nil
}

// conductor computes what the words describe.
func (w *words) conductor() Conductor {
	c := Conductor{name: w.name(), alpha20: Alpha20}
	if per, ok := lookup60228(w.area, w.class, w.tinned); ok && !w.constantan && !w.hasNickel && !w.hasPercent && !w.solid {
		c.per20 = per
		return c
	}
	area := w.area
	if area == 0 {
		area = float64(AWGArea(w.gauge))
	}
	c.per20 = Resistivity / area
	switch {
	case w.constantan: // its coefficient lies between −4e-5 and +4e-5 /K
		c.per20, c.alpha20 = constantanResistivity/area, 0
	case w.hasNickel:
		factor, alpha := NickelPlated(w.nickel)
		c.per20 *= factor
		c.alpha20 = alpha
	case w.hasPercent:
		c.per20 /= w.conductivity
		c.alpha20 = AlphaOf(w.conductivity)
	}
	if w.stranded || w.area != 0 && !w.solid && w.class != 1 {
		c.per20 *= layFactor
	}
	if w.tinned {
		c.per20 *= tinFactor
	}
	return c
}

// name writes the conductor in the one spelling that ParseConductor reads back
// to the same.
func (w *words) name() string {
	var b strings.Builder
	if w.area != 0 {
		b.WriteString(number(w.area) + " mm2")
	} else {
		fmt.Fprintf(&b, "%d AWG", w.gauge)
	}
	if w.class != 0 {
		fmt.Fprintf(&b, " class %d", w.class)
	}
	for _, x := range []struct {
		on   bool
		text string
	}{
		{w.solid, "solid"},
		{w.stranded, "stranded"},
		{w.tinned, "tinned"},
		{w.constantan, "constantan"},
		{w.hasNickel, "nickel " + number(w.nickel)},
		{w.hasPercent, number(w.conductivity) + " IACS"},
	} {
		if x.on {
			b.WriteString(" " + x.text)
		}
	}
	return b.String()
}

func perLengthName(per quantity.OhmPerMetre) string { return number(float64(per)) + " ohm/m" }

func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
