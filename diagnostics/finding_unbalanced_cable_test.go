package diagnostics

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// From the description alone, without a sample: a balance record silences it,
// whatever the leads will turn out to be; so does a method that removes them.
func TestUnbalancedFromTheDescriptionAlone(t *testing.T) {
	sensor, err := rtd.ParseSensor("Pt100")
	if err != nil {
		t.Fatal(err)
	}
	n := math.NaN()
	base := Spec{
		Tag: "TT-1", Wires: 3, Method: wiring.ThreeWireDual, Sensor: sensor, Class: rtd.GradeA, Fixed: quantity.Ohm(n),
		LimitHigh: quantity.DeltaC(n), LimitLow: quantity.DeltaC(n), LeadLimit: quantity.Ohm(n), Accuracy: NoAccuracy(),
		Cable20: 0.4843, CableM: 9.144, // 30 ft of 22 AWG: deserves a check (common practice)
	}
	tests := []struct {
		name   string
		change func(*Spec)
		want   bool
	}{
		{"30 ft of 22 AWG without a record", func(*Spec) {}, true},
		{"with a record", func(s *Spec) { s.Balance = "2025-03 bridge" }, false},
		{"15 ft", func(s *Spec) { s.Cable20, s.CableM = 0.2421, 4.572 }, false},
		{"four-wire", func(s *Spec) { s.Wires, s.Method = 4, wiring.FourWire }, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := base
			tt.change(&s)
			l, err := NewLoop(s)
			if err != nil {
				t.Fatal(err)
			}
			f, got := l.Unbalanced()
			if got != tt.want || got && f.Kind != finding.UnbalancedCable {
				t.Fatalf("unbalanced %v (%s), want %v", got, f.Evidence, tt.want)
			}
		})
	}
}
