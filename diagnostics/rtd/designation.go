package rtd

import (
	"fmt"
	"strconv"
	"strings"
)

// designation is one curve under the name that follows the hyphen.
type designation struct {
	metal   string
	suffix  string
	scale   float64 // R0 / nominal resistance
	nominal float64 // the only nominal value the curve exists for; 0 = any
	plain   bool    // the curve of a designation without a suffix
	curve   *curve
}

// The largest and smallest nominal resistance that a designation may have, Ω.
const minNominal, maxNominal = 1, 100e3

var designations = []designation{
	{"Pt", "3851", 1, 0, true, platinum3851},
	{"Pt", "3911", 1, 0, false, platinum3911},
	{"Pt", "3911us", 1, 0, false, platinum3911US},
	{"Pt", "3916", 1, 0, false, platinum3916},
	{"Pt", "3920", 0.98129, 0, false, platinum3920}, // SAMA: nominal 100 Ω is 98.129 Ω at 0 °C
	{"Pt", "3926", 1, 0, false, platinum3926},
	{"Cu", "427", 0.9035, 10, true, copper427}, // nominal at 25 °C
	{"Cu", "428", 1, 0, true, copper428},
	{"Cu", "426", 1, 0, false, copper426},
	{"Ni", "672", 1, 120, true, nickel672},
	{"Ni", "617", 1, 0, true, nickel617},
	{"Ni", "618", 1, 0, false, nickel618},
}

// ParseSensor reads a designation such as Pt100, Pt1000, Pt100-3916, Cu50,
// Cu100-426, Ni100-618 or Ni120; see the package comment for all of them. The
// metal may be in any letter case.
func ParseSensor(name string) (Sensor, error) {
	metal, nominal, suffix, err := splitDesignation(name)
	if err != nil {
		return Sensor{}, err
	}
	for _, d := range designations {
		if d.metal != metal || d.nominal != 0 && d.nominal != nominal {
			continue
		}
		if d.suffix == suffix || suffix == "" && d.plain {
			return d.sensor(nominal), nil
		}
	}
	return Sensor{}, fmt.Errorf("sensor %q: no such curve; want one of %s", name, strings.Join(Designations(), ", "))
}

// Designations lists one example of every curve that ParseSensor knows.
func Designations() []string {
	example := map[string]float64{"Pt": 100, "Cu": 100, "Ni": 100}
	names := make([]string, 0, len(designations))
	for _, d := range designations {
		nominal := example[d.metal]
		if d.nominal != 0 {
			nominal = d.nominal
		}
		names = append(names, d.sensor(nominal).name)
	}
	return names
}

func (d designation) sensor(nominal float64) Sensor {
	name := d.metal + strconv.FormatFloat(nominal, 'f', -1, 64)
	if d.suffix != "3851" { // IEC 60751 needs no suffix
		name += "-" + d.suffix
	}
	return Sensor{name: name, r0: nominal * d.scale, curve: d.curve}
}

func splitDesignation(name string) (metal string, nominal float64, suffix string, err error) {
	s := strings.TrimSpace(name)
	if len(s) < 3 {
		return "", 0, "", fmt.Errorf("sensor %q: want a designation such as Pt100", name)
	}
	metal = strings.ToUpper(s[:1]) + strings.ToLower(s[1:2])
	number, suffix, hyphen := strings.Cut(s[2:], "-")
	suffix = strings.ToLower(suffix)
	if metal != "Pt" && metal != "Cu" && metal != "Ni" || hyphen && suffix == "" {
		return "", 0, "", fmt.Errorf("sensor %q: want a designation such as Pt100, Cu50 or Ni120", name)
	}
	if strings.Trim(number, "0123456789.") != "" {
		return "", 0, "", fmt.Errorf("sensor %q: %q is not a resistance in ohm", name, number)
	}
	nominal, err = strconv.ParseFloat(number, 64)
	if err != nil || nominal < minNominal || nominal > maxNominal {
		return "", 0, "", fmt.Errorf("sensor %q: want a resistance of %d to %.0f ohm after %s", name, minNominal, float64(maxNominal), metal)
	}
	return metal, nominal, suffix, nil
}

// Lookalikes returns the sensors that could be mistaken for s: the same metal
// and nominal resistance on another curve. A sensor of a calibration of its own
// has none.
func (s Sensor) Lookalikes() []Sensor {
	metal, nominal, _, err := splitDesignation(s.name)
	if err != nil {
		return nil
	}
	var out []Sensor
	for _, d := range designations {
		if d.metal == metal && d.curve != s.curve && (d.nominal == 0 || d.nominal == nominal) {
			out = append(out, d.sensor(nominal))
		}
	}
	return out
}
