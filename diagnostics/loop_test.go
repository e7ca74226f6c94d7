package diagnostics_test

import (
	"math"
	"testing"
	"unsafe"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// A loop and its baseline are small: 5,000 of them fit into a few megabytes, and
// together with its drift engine a loop stays within 6 KiB.
func TestLoopIsSmall(t *testing.T) {
	if size := unsafe.Sizeof(diagnostics.Loop{}); size > 1536 {
		t.Errorf("a loop has %d bytes, want at most 1536", size)
	}
}

func TestParseDecisionRuleAndCalibrated(t *testing.T) {
	for in, want := range map[string]diagnostics.DecisionRule{"": diagnostics.Probable, "probable": diagnostics.Probable, "certain": diagnostics.Certain, "possible": diagnostics.Possible} {
		if got, err := diagnostics.ParseDecisionRule(in); err != nil || got != want || in != "" && got.String() != in {
			t.Errorf("rule %q is %v %v", in, got, err)
		}
	}
	for in, want := range map[string]diagnostics.Calibrated{"": diagnostics.CalibratedUnknown, "never": diagnostics.CalibratedNever, "leads-out": diagnostics.LeadsOut, "leads-in": diagnostics.LeadsIn} {
		if got, err := diagnostics.ParseCalibrated(in); err != nil || got != want || in != "" && got.String() != in {
			t.Errorf("calibrated %q is %v %v", in, got, err)
		}
	}
	if _, err := diagnostics.ParseDecisionRule("likely"); err == nil {
		t.Error("likely is no rule")
	}
	if _, err := diagnostics.ParseCalibrated("yes"); err == nil {
		t.Error("yes does not say how")
	}
}

// 0.04 Ω between leads is about 0.1 °C (common practice): a little more the
// hotter the sensor. And 0.1 Ω are 0.256 °C at 0 °C.
func TestTenthOfADegree(t *testing.T) {
	s := spec(t, wiring.ThreeWireDual)
	for at, want := range map[quantity.DegC]float64{0: 0.1023, 100: 0.1055, 200: 0.1088, 400: 0.1161} {
		if got := s.Sensor.SlopeAt(at).Error(0.04); math.Abs(float64(got)-want) > 6e-5 {
			t.Errorf("0.04 Ω at %v °C: %v, want %v", at, got, want)
		}
	}
	if got := s.Sensor.SlopeAt(0).Error(0.1); math.Abs(float64(got)-0.2559) > 6e-5 {
		t.Errorf("0.1 Ω: %v °C", got)
	}
	// The 3 % of the sum are 6.19 % of the smaller lead, 6 % of their mean.
	if got := diagnostics.OfSum.OfLead(0.03); math.Abs(got-0.06) > 1e-12 {
		t.Errorf("3 %% of the sum is %v of the mean", got)
	}
	if got := diagnostics.OfMin.OfLead(2 * 0.03 / (1 - 0.03)); math.Abs(got-0.06) > 1e-12 {
		t.Errorf("6.19 %% of the smaller is %v of the mean", got)
	}
}
