package web

import (
	"strings"
	"testing"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
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
		{finding.Forecast{State: finding.Past, Quantity: finding.ErrorLimit, Value: 0.5}, "The loop is past its limit of +0.50 °C already."},
		{finding.Forecast{State: finding.NotWithinHorizon, Quantity: finding.ErrorLimit, Value: 0.5}, "The limit of +0.50 °C is not reached within two years at this rate."},
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
		"TT-1108": "What follows is not of now: the last value came 6 min ago. gateway-2 (10.0.4.7:502) unit 8: no answer in 1 s; is the unit powered?",
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
