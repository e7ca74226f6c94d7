package follow

import (
	"slices"
	"testing"
	"time"

	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
)

// weeks follows a loop polled every ten minutes for so many days; extra is what
// a1 has beyond the others on a day, in Ω. 0.117 Ω are the limit of 0.3 °C.
func weeks(l *Loop, days int, extra func(day float64) float64) (said []finding.Finding) {
	for i := range days * 144 {
		d := float64(i) / 144
		s := sample(start.Add(time.Duration(i)*10*time.Minute), extra(d)+0.001*float64(i%3))
		_, said = l.Step(&s, nil, said)
	}
	return said
}

// A contact that grows past the limit is one matter: its finding becomes out of
// specification, and nothing else is told.
func TestAnErrorIsToldByItsCause(t *testing.T) {
	said := weeks(newLoop(t), 60, func(d float64) float64 { return max(0, d-30) * 0.006 })
	if got := begun(said); len(got) != 0 {
		t.Errorf("told besides its cause: %s %s", got[0].State, got[0].Evidence)
	}
	worst, at := finding.Info, time.Time{}
	for _, f := range said {
		if f.Severity > worst && f.State != finding.Cleared {
			worst, at = f.Severity, f.Time
		}
	}
	day := at.Sub(start).Hours() / 24
	if worst != finding.OutOfSpec || day < 49 || day > 50.5 { // 30 + 0.117/0.006 = 49.5
		t.Errorf("worst is %v on day %.1f, want out of specification when the limit is passed", worst, day)
	}
}

// What was told before its cause was found is taken back when it is.
func TestTheCauseTakesOver(t *testing.T) {
	step := func(d float64) float64 {
		if d < 30 {
			return 0
		}
		return 0.2
	}
	said := weeks(newLoop(t), 45, step)
	got := begun(said)
	if len(got) != 2 || got[0].State != finding.Raised || got[1].State != finding.Cleared {
		t.Fatalf("told %d times %v, want raised and taken back", len(got), got)
	}
	if d := got[0].Time.Sub(start).Hours() / 24; d > 30.2 {
		t.Errorf("raised on day %.2f, want within hours of the step", d)
	}
	taken := false
	for _, f := range said {
		if f.Kind == finding.LeadStep && f.State == finding.Raised {
			taken = f.Time.Equal(got[1].Time) && f.Severity == finding.OutOfSpec
		}
	}
	if !taken {
		t.Error("it was not taken back in the moment the step was told out of specification")
	}
}

// Leads that were too different from the beginning have no contact to blame.
func TestAnErrorOfTheBaselineStaysToldAsSuch(t *testing.T) {
	said := weeks(newLoop(t), 60, func(d float64) float64 { return 0.14 + max(0, d-30)*0.002 })
	got := begun(said)
	if len(got) != 1 || got[0].State != finding.Raised {
		t.Fatalf("told %v, want raised once", got)
	}
	if drifts := drifting(said); len(drifts) == 0 {
		t.Error("the contact was not found: the example is off")
	}
}

// begun returns what began or ended about the imbalance.
func begun(fs []finding.Finding) []finding.Finding {
	return slices.DeleteFunc(imbalances(fs), func(f finding.Finding) bool { return f.State == finding.Updated })
}

func drifting(fs []finding.Finding) (out []finding.Finding) {
	for _, f := range fs {
		if f.Kind == finding.LeadDrift {
			out = append(out, f)
		}
	}
	return out
}

// The cause goes after a mend that did not help: the error stays and is told.
func TestAnErrorOutlivesItsCause(t *testing.T) {
	l := newLoop(t)
	said := weeks(l, 60, func(d float64) float64 { return max(0, d-30) * 0.006 })
	at := start.Add(60 * 24 * time.Hour)
	said = l.Journal(at, drift.WorkDone, said[:0])
	for i := range 20 {
		s := sample(at.Add(time.Duration(i+1)*10*time.Minute), 0.18)
		_, said = l.Step(&s, nil, said)
	}
	if got := begun(said); len(got) != 1 || got[0].State != finding.Raised {
		t.Errorf("told %v, want raised", got)
	}
}

// One poll in which the bad lead reads zero turns the error around. It is a bad
// value, no second matter.
func TestABadZeroIsNoSecondMatter(t *testing.T) {
	l := newLoop(t)
	weeks(l, 60, func(d float64) float64 { return max(0, d-30) * 0.006 })
	var said []finding.Finding
	for i := range 20 {
		s := sample(start.Add(60*24*time.Hour+time.Duration(i)*10*time.Minute), 0.18)
		if i == 5 {
			s.Leads[measure.A1] = 0
		}
		_, said = l.Step(&s, nil, said)
	}
	if got := begun(said); len(got) != 0 {
		t.Errorf("%s: %s", got[0].State, got[0].Evidence)
	}
}
