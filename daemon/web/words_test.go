package web

import (
	"slices"
	"strings"
	"testing"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

func TestEveryKindHasWords(t *testing.T) {
	for _, k := range finding.Kinds() {
		f := plainFinding(k, finding.Maintenance, noon, "")
		if headline(&f) == "" {
			t.Errorf("%s has no words on the page", k)
		}
	}
}

func TestStandingSaysLeadSinceAndForecast(t *testing.T) {
	p := larkfield(1, noon)
	got := standing(p.loops[0].Standing, noon)
	if want := "b1 contact grows, +0.126 Ω since 9 Oct · limit about 8 Jan 2027"; got != want {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}

func TestNoLeadIsNamedWhereNoneCanBe(t *testing.T) {
	f := plainFinding(finding.LeadDrift, finding.Maintenance, noon, "")
	if got := headline(&f); got != "a lead contact grows" {
		t.Errorf("got %q", got)
	}
}

func TestForecastInWords(t *testing.T) {
	in := func(days int) time.Time { return noon.AddDate(0, 0, days) }
	tests := []struct {
		f    finding.Forecast
		want string
	}{
		{
			finding.Forecast{State: finding.Dated, Quantity: finding.ErrorLimit, Value: -0.5, P10: in(24), P50: in(44), P90: in(82)},
			"Reaches its limit of \u22120.50 °C about 8 January 2027 (middle estimate). One chance in ten that it comes before 19 December. One in ten that it holds beyond 15 February 2027.",
		},
		{
			finding.Forecast{State: finding.Dated, Quantity: finding.LeadsLimit, Value: 20, P10: in(24)},
			"May reach its limit of 20.0 Ω of lead resistance; more likely not within two years. One chance in ten that it comes before 19 December.",
		},
		{
			finding.Forecast{State: finding.Dated, Quantity: finding.ErrorLimit, Value: 0.5, P10: in(24), Why: "as a contact it causes no error."},
			"May reach its limit of +0.50 °C; more likely not within two years. One chance in ten that it comes before 19 December. As a contact it causes no error.",
		},
		{finding.Forecast{State: finding.Past, Quantity: finding.ErrorLimit, Value: 0.5}, "The loop has passed its limit of +0.50 °C."},
		{finding.Forecast{State: finding.NotWithinHorizon, Quantity: finding.ErrorLimit, Value: 0.5}, "The limit of +0.50 °C is not reached within two years at this rate."},
		{
			finding.Forecast{State: finding.Dated, Quantity: finding.ErrorLimit, Value: 0.5, P10: in(3000), P50: in(14000)},
			"The limit of +0.50 °C is not reached within two years at this rate.",
		},
		{
			finding.Forecast{State: finding.Dated, Quantity: finding.ErrorLimit, Value: 0.5, P10: in(-4), P50: in(-1), P90: in(2)},
			"Its limit of +0.50 °C is due: the middle estimate was 24 November. It may come any day. One in ten that it holds beyond 27 November.",
		},
		{finding.Forecast{State: finding.CannotTell, Why: "too few days."}, "When the limit is reached cannot be told: too few days."},
	}
	for _, c := range tests {
		if got := forecastWords(&c.f, noon); got != c.want {
			t.Errorf("%s: got  %q\nwant %q", c.f.State, got, c.want)
		}
	}
	if got := forecastWords(nil, noon); got != "" {
		t.Errorf("no forecast says %q", got)
	}
}

func TestSinceWords(t *testing.T) {
	tests := []struct {
		kind  finding.Kind
		since time.Time
		want  string
	}{
		{finding.LeadDrift, noon.Add(-3 * time.Hour), " since 09:00 UTC"},
		{finding.LeadDrift, noon.Add(-14 * time.Hour), " since 24 Nov"}, // yesterday evening, not this one
		{finding.DeviceChanged, noon.Add(-14 * time.Hour), " on 24 Nov"},
		{finding.DeviceChanged, noon.Add(-3 * time.Hour), " at 09:00 UTC"},
		{finding.UnbalancedCable, noon, ""},
		{finding.LeadDrift, time.Time{}, ""},
	}
	for _, c := range tests {
		if got := sinceWords(&finding.Finding{Kind: c.kind, Since: c.since}, noon, onset); got != c.want {
			t.Errorf("%s since %v: %q, want %q", c.kind, c.since, got, c.want)
		}
	}
}

// A contact that swings is good at one moment and bad at the next: its size and
// the error of one moment are not the whole of it.
func TestSayOfContactsThatSwing(t *testing.T) {
	l, _ := larkfield(1, noon).Loop("TT-1101")
	for kind, want := range map[finding.Kind]string{
		finding.LeadThermal:      "The contact of lead b1 has been swinging with temperature since 9 October. Just now the loop reads 0.32 °C too low.",
		finding.LeadMoisture:     "The contact of lead b1 has followed wet and dry since 9 October. Just now the loop reads 0.32 °C too low.",
		finding.LeadIntermittent: "The contact of lead b1 has come and gone, by 0.126 Ω at a time, since 9 October. Just now the loop reads 0.32 °C too low.",
	} {
		f := *l.Standing
		f.Kind = kind
		l.Standing = &f
		if got := spoken(say(&l, noon)); got != want {
			t.Errorf("%s: got  %q\nwant %q", kind, got, want)
		}
	}
}

// What the transmitter cannot show of a two-wire loop trimmed with its leads is
// no number, whatever the assessment holds.
func TestErrorSinceCalibrationOfTwoWires(t *testing.T) {
	p := larkfield(15, noon)
	l, _ := p.Loop("TT-1101")
	s := *l.Spec
	s.Wires, s.Method, s.Reports, s.Calibrated = 2, wiring.TwoWire, wiring.ReadingOnly, diagnostics.LeadsIn
	l.Spec, l.Values.SinceCal, l.Values.USinceCal, l.Values.ShareLimit = &s, 0, 0.01, 0
	if v := newRow(0, &l.Row, noon); v.Error != notVisible || v.U != "" || v.Share != "" {
		t.Errorf("shows error %q ± %q, share %q", v.Error, v.U, v.Share)
	}
	s.Reports = wiring.AllLeads
	if v := newRow(0, &l.Row, noon); v.Error == notVisible || v.Share == "" {
		t.Errorf("hides error %q, share %q of leads that are seen", v.Error, v.Share)
	}
}

func TestForecastNeverDeniesWhatIsNow(t *testing.T) {
	l, _ := larkfield(1, noon).Loop("TT-1101")
	f := *l.Standing
	l.Standing = &f
	f.Forecast = &finding.Forecast{State: finding.NotWithinHorizon, Quantity: finding.ErrorLimit, Value: 0.5}
	l.Findings = []finding.Finding{f}
	if got := pageForecast(&l, noon); got != "The limit of +0.50 °C is not reached within two years at this rate." {
		t.Errorf("slow drift: %q", got)
	}
	l.Values.Over = true
	if got := pageForecast(&l, noon); got != "The loop is over its limit just now." {
		t.Errorf("over: %q", got)
	}
	l.Values.Over, f.Severity, f.Kind = false, finding.OutOfSpec, finding.LeadIntermittent
	if got := pageForecast(&l, noon); !strings.HasPrefix(got, "While the contact is bad") {
		t.Errorf("comes and goes: %q", got)
	}
	l.Findings[0].Forecast = &finding.Forecast{State: finding.Past, Quantity: finding.ErrorLimit, Value: 0.5}
	if got := pageForecast(&l, noon); got != "The loop has passed its limit of +0.50 °C. Just now it is within it." {
		t.Errorf("past: %q", got)
	}
}

func TestStepsOfJumperAndDeviceFault(t *testing.T) {
	l, _ := larkfield(1, noon).Loop("TT-1101")
	f := *l.Standing
	l.Standing = &f
	f.Kind = finding.NotFourWire
	if s := steps(&l, finding.LeadsOf(measure.A1, measure.A2)); !strings.Contains(s[0].Why, "jumper") {
		t.Errorf("a jumper: %+v", s)
	}
	if got := where(&l, finding.LeadsOf(measure.B1)); !strings.Contains(got, "jumper") || strings.Contains(got, "extra resistance") {
		t.Errorf("a jumper: %q", got)
	}
	f.Kind = finding.DeviceFault
	if s := steps(&l, 0); len(s) == 0 || !strings.Contains(s[0].Do, "diagnostics") {
		t.Errorf("a device fault: %+v", s)
	}
}

// What no terminal alone makes has steps of its own, whether a lead is named or not.
func TestStepsOfLeakAndVoltage(t *testing.T) {
	l, _ := larkfield(1, noon).Loop("TT-1101")
	f := *l.Standing
	l.Standing = &f
	for _, tt := range []struct {
		kind finding.Kind
		bad  finding.LeadSet
		want []string // of one step each
	}{
		{finding.InsulationLeak, 0, []string{"Look for water", "cable off the transmitter, measure the insulation", "apart at the head"}},
		{finding.ThermalEMF, 0, []string{"every joint between head and transmitter", "leads off the transmitter, measure the voltage", "of another metal, or bring"}},
		{finding.ThermalEMF, finding.LeadsOf(measure.B1), []string{"the joints of b1 without touching: ", "measure the voltage"}},
	} {
		f.Kind = tt.kind
		got := steps(&l, tt.bad)
		for _, w := range tt.want {
			if !slices.ContainsFunc(got, func(s step) bool { return strings.Contains(s.Do, w) }) {
				t.Errorf("%s, %v: no step says %q: %+v", tt.kind, tt.bad.Names(), w, got)
			}
		}
		if i := slices.IndexFunc(got, func(s step) bool { return strings.Contains(s.Do, "gently") }); i >= 0 {
			t.Errorf("%s: %q is for a contact", tt.kind, got[i].Do)
		}
	}
	if got := spoken(say(&l, noon)); !strings.Contains(got, "A thermal voltage in lead b1 has looked like +0.126 Ω since 9 October.") {
		t.Errorf("a voltage: %q", got)
	}
	if got := where(&l, finding.LeadsOf(measure.B1)); !strings.Contains(got, "The joint of two metals is at") {
		t.Errorf("a voltage: %q", got)
	}
}

func spoken(parts []part) string {
	var b strings.Builder
	for _, p := range parts {
		b.WriteString(p.Text)
	}
	return b.String()
}

func TestSay(t *testing.T) {
	p := larkfield(15, noon)
	tests := map[string]string{
		"TT-1101": "Lead b1 has gained 0.126 Ω of contact resistance since 9 October. The loop reads 0.32 °C too low.",
		"TT-1106": "Lead b1 has gained 0.232 Ω of contact resistance since 9 October. The loop reads 0.59 °C too low, over its limit.",
		"TT-1103": "a2 is open since 09:00 UTC. The reading is not valid while this stands.",
		"TT-1104": "This loop has never been polled: nothing is known of it.",
		"TT-1108": "Not live: the last value came 6 min ago. Reason: gateway-2 (10.0.4.7:502) unit 8: no answer in 1 s; is the unit powered?",
		"TT-1102": "Nothing stands on this loop. The leads do nothing to the reading that could be told from measurement uncertainty.",
		"TT-1105": "Nothing stands on this loop. What the leads do to the reading cannot be seen on this transmitter.",
	}
	for tag, want := range tests {
		l, _ := p.Loop(tag)
		if got := spoken(say(&l, noon)); got != want {
			t.Errorf("%s: got  %q\nwant %q", tag, got, want)
		}
	}
}

func TestStepsNeverGiveATorque(t *testing.T) {
	l, _ := larkfield(1, noon).Loop("TT-1101")
	for _, s := range steps(&l, finding.LeadsOf(measure.B1)) {
		for _, never := range []string{"torque", "tighten", "N·m", "Nm"} {
			if strings.Contains(strings.ToLower(s.Do+s.Why), strings.ToLower(never)) {
				t.Errorf("%q says %q", s.Do+s.Why, never)
			}
		}
	}
	if got := steps(&l, 0); got != nil {
		t.Errorf("steps without a named lead: %v", got)
	}
}
