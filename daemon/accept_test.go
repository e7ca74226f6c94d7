package daemon

import (
	"strings"
	"testing"

	"ohmdrift/daemon/records"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
)

// A baseline that is accepted while a contact stands takes the finding back, on
// record and on the page, and the loop is learnt anew; others are not touched.
func TestAcceptedBaselineBeginsALoopAnew(t *testing.T) {
	p := dozen(t)
	d := month(t, p)
	w := d.current().loops[growing]
	before := w.follow.Engine().Publish().Anew
	s := grows(t, p, w.stepped.Add(drift.Mark)).sim.SampleAt(growing, w.stepped)
	err := d.AcceptBaseline(t.Context(), records.Baseline{
		Loop: w.tag, Leads: diagnostics.BaselineOf(&s), Proposer: "A. Reed", Accepter: "M. Vance", Note: "terminals cleaned and tightened",
	})
	if err != nil {
		t.Fatal(err)
	}
	recordAll(t, d)
	if f := standingOf(d, growing).find(finding.LeadDrift); f != nil {
		t.Errorf("still on the page: %s", f.Evidence)
	}
	if f, open := onRecord(t, d, w.tag)[finding.LeadDrift]; open {
		t.Errorf("still open on record: %s", f.Evidence)
	}
	said := 0
	for _, f := range events(t, d, w.tag) {
		if f.State == finding.Cleared && strings.Contains(f.Evidence, "baseline accepted") {
			said++
		}
	}
	if said == 0 {
		t.Error("no event says why the drift is closed")
	}
	if anew := w.follow.Engine().Publish().Anew; !anew.After(before) {
		t.Errorf("learnt since %s, before since %s", anew, before)
	}
	if standingOf(d, growing2).find(finding.LeadDrift) == nil {
		t.Error("the drift of another loop was taken back as well")
	}
}
