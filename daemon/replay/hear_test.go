package replay

import (
	"testing"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/drift"
)

// What is exchanged at a mark is heard one mark later, as in the live daemon.
func TestNeighboursAreHeardOneMarkLater(t *testing.T) {
	specs := []*diagnostics.Spec{{Tag: "TT-1", Box: "JB-1"}, {Tag: "TT-2", Box: "JB-1"}}
	site := drift.NewSite(specs)
	c := &crew{neighbours: make([]drift.Neighbour, 2), pending: make([]drift.Neighbour, 2)}
	mark := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	want := []float64{0, 1.01, 1.02} // read after each mark
	for i, w := range want {
		site.Put(1, drift.Published{Factor: 1.01 + float64(i)/100})
		site.Mark(mark.Add(time.Duration(i)*drift.Mark), nil)
		c.hear(site)
		if got := c.neighbours[0].Factor; got != w {
			t.Errorf("after mark %d TT-1 hears %g, want %g", i+1, got, w)
		}
	}
}
