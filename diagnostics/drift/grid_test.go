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
