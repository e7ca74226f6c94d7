package contact_test

import (
	"math"
	"testing"

	"ohmdrift/diagnostics/contact"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
)

// 3.2 mV at a tenth of the rated current, mΩ by hand.
func TestBlockLimit(t *testing.T) {
	for area, want := range map[quantity.SquareMM]float64{0.5: 5.33, 0.75: 3.56, 1.0: 2.37, 1.5: 1.83, 2.5: 1.33, 4: 1.00, 6: 0.78, 0.2: 5.33, 0.82: 3.56} {
		if got := float64(contact.BlockLimit(area)) * 1e3; math.Abs(got-want) > 0.006 {
			t.Errorf("%v mm²: %.3f mΩ, want %v", area, got, want)
		}
	}
}

// Holm's formula for copper of 1 GPa, mΩ by hand.
func TestConstriction(t *testing.T) {
	for force, want := range map[float64]float64{0.1: 1.53, 1: 0.483, 10: 0.153, 100: 0.048} {
		if got := float64(contact.Constriction(force)) * 1e3; math.Abs(got/want-1) > 0.01 {
			t.Errorf("%v N: %.4f mΩ, want %v", force, got, want)
		}
	}
	if ratio := contact.Constriction(1) / contact.Constriction(100); math.Abs(float64(ratio)-10) > 1e-9 {
		t.Errorf("a hundredth of the force is %v times the resistance, want 10", ratio)
	}
	for _, f := range []float64{0, -1, math.NaN()} {
		if got := contact.Constriction(f); quantity.Known(got) {
			t.Errorf("force %v: %v Ω", f, got)
		}
	}
}

// R/R0 of a shrinking spot over t/τ, by hand.
func TestGrowthLaws(t *testing.T) {
	for x, want := range map[float64]float64{0: 1, 0.01: 1.111, 0.1: 1.4625, 0.25: 2, 0.5: 3.4142, 0.75: 7.4641, 0.9: 19.487, 0.99: 199.5} {
		if got := float64(contact.ShrinkingSpot(1, x*40, 40)); math.Abs(got/want-1) > 2e-4 {
			t.Errorf("t/τ %v: %.4f, want %v", x, got, want)
		}
	}
	if got := contact.ShrinkingSpot(1, 40, 40); !math.IsInf(float64(got), 1) {
		t.Errorf("at τ: %v, want no contact", got)
	}
	if got := contact.Linear(0.002, 0.0005, 30); math.Abs(float64(got)-0.017) > 1e-12 {
		t.Errorf("linear: %v", got)
	}
	if got := contact.Parabolic(0.002, 0.001, 100); math.Abs(float64(got)-0.012) > 1e-12 {
		t.Errorf("parabolic: %v", got)
	}
}

// What a contact resistance means on a Pt100 at 0 °C: mΩ and °C by hand.
func TestWhatItMeans(t *testing.T) {
	s, err := rtd.ParseSensor("Pt100")
	if err != nil {
		t.Fatal(err)
	}
	for milliohm, want := range map[float64]float64{1: 0.0026, 10: 0.0256, 39.1: 0.100, 58.6: 0.15, 100: 0.256, 117: 0.299} {
		if got := s.SlopeAt(0).Error(quantity.Ohm(milliohm / 1e3)); math.Abs(float64(got)-want) > 6e-4 {
			t.Errorf("%v mΩ: %.5f °C, want %v", milliohm, got, want)
		}
	}
}
