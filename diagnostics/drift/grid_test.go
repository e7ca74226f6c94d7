package drift

import (
	"testing"

	"ohmdrift/diagnostics/wiring"
)

// While a coarser resolution is suspected, excursions of its size are its steps.
func TestStepsOfANewResolutionAreNoExcursions(t *testing.T) {
	e := mustEngine(t, testSpec(t, "TT-2101", wiring.ThreeWireDual, wiring.AllLeads))
	c := newCable(3)
	c.feed(e, 0, 30*perDay)
	s := &e.s.Ch[1].Spike
	s.Size, s.Sure, s.Maybe = 0.02, 20, 0
	if !e.spiking(1) {
		t.Fatal("twenty excursions of 20 mΩ are none")
	}
	e.s.Grid.Same, e.s.Grid.Next = 1, 0.02
	if e.spiking(1) {
		t.Error("steps of a new resolution of 20 mΩ pass for excursions")
	}
	s.Size = 0.05
	if !e.spiking(1) {
		t.Error("excursions of 50 mΩ are no steps of 20 mΩ")
	}
}

func TestStepsInWords(t *testing.T) {
	for x, want := range map[float32]string{0.01: "in steps of 10 mΩ", 0.0001: "in steps of 0.1 mΩ", 0: "in steps too fine to be seen"} {
		if got := steps(x); got != want {
			t.Errorf("%g Ω: %q, want %q", x, got, want)
		}
	}
}
