package diagnostics_test

import (
	"fmt"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// One sample of a three-wire loop: what its leads do to the reading.
func Example() {
	spec := diagnostics.NewSpec("TT-1204")
	spec.Sensor, _ = rtd.ParseSensor("Pt100")
	spec.Class, spec.Wires, spec.Method = rtd.ClassA, 3, wiring.ThreeWireDual
	spec.LimitHigh, spec.LimitLow = 0.25, -0.25
	spec.Accuracy.Lead = 0.005
	loop, err := diagnostics.NewLoop(spec)
	if err != nil {
		fmt.Println(err)
		return
	}
	sample := measure.Empty(time.Date(2025, 6, 1, 12, 0, 0, 0, time.UTC), measure.Good)
	sample.Leads[measure.A1], sample.Leads[measure.B1], sample.Leads[measure.B2] = 0.62, 0.50, 0.50
	sample.Sensor = 138.6255 // 100 °C and 0.12 Ω too much

	a := loop.Assess(&sample)
	fmt.Printf("imbalance %.2f Ω, error %+.3f ± %.3f °C, corrected %.2f °C\n", a.Imbalance, a.Error, a.U, a.Corrected)
	for _, f := range loop.Check(&sample, &a, nil) {
		fmt.Println(f.Kind, f.Leads.Names(), f.Severity)
	}
	// Output:
	// imbalance 0.12 Ω, error +0.316 ± 0.020 °C, corrected 100.00 °C
	// imbalance [a1] out-of-spec
}

// What a three-wire transmitter cannot see is stated, not guessed.
func ExampleObserve() {
	spec := diagnostics.NewSpec("TT-1204")
	spec.Sensor, _ = rtd.ParseSensor("Pt100")
	spec.Wires, spec.Method, spec.Reports = 3, wiring.ThreeWireLoop, wiring.PairsOnly
	spec.Calibrated, spec.Spread, spec.Accuracy.Lead = diagnostics.LeadsOut, 0.02, 0.005
	o := diagnostics.Observe(spec)
	fmt.Println(o.String())
	// Output:
	// lead a1: inferred, assuming one cable with equal leads
	// lead b1: measured
	// lead b2: measured
	// imbalance: inferred, assuming one cable with equal leads
	// reading error, absolute: inferred, assuming one cable with equal leads
	// reading error since calibration: inferred, assuming one cable with equal leads
	// element: inferred, assuming one cable with equal leads
	// note: a contact that grows on lead a1 looks like a warmer process: only a step, noise or a partner loop shows it
}
