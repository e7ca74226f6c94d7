package web

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ohmdrift/diagnostics/quantity"
)

func TestNumbers(t *testing.T) {
	nan := math.NaN()
	tests := []struct{ name, got, want string }{
		{"true minus sign", fixed(-0.34, 2), "\u22120.34"},
		{"no negative zero", fixed(-0.001, 2), "0.00"},
		{"not known", fixed(nan, 2), ""},
		{"infinite is not known", fixed(math.Inf(1), 2), ""},
		{"plus", signed(0.126, 3), "+0.126"},
		{"no sign on zero", signed(0.0001, 3), "0.000"},
		{"lead", ohm(quantity.Ohm(0.9124)), "0.912"},
		{"temperature", degC(-7.26), "\u22127.3 °C"},
		{"temperature not known", degC(quantity.DegC(nan)), ""},
		{"share", percent(0.674), "67 %"},
		{"share beyond print", percent(12), "> 999 %"},
		{"share not known", percent(nan), ""},
	}
	for _, c := range tests {
		if c.got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, c.got, c.want)
		}
	}
}

func TestErrorHasTheDigitsOfItsUncertainty(t *testing.T) {
	tests := []struct {
		e, u        float64
		value, with string
	}{
		{-0.3372, 0.062, "\u22120.34", "0.06"},
		{-0.3372, 0.0148, "\u22120.337", "0.015"}, // first digit 1: one place more
		{1.26, 0.4, "+1.3", "0.4"},
		{1.26, 2.6, "+1.3", "2.6"},
		{0.0004, 0.0003, "0.000", "0.001"}, // never finer than 1 mK, and never exact
		{0.5, math.NaN(), "+0.50", ""},
		{math.NaN(), 0.1, "", "0.10"},
	}
	for _, c := range tests {
		if v, u := errorAndU(quantity.DeltaC(c.e), quantity.DeltaC(c.u)); v != c.value || u != c.with {
			t.Errorf("%g ± %g: got %q ± %q, want %q ± %q", c.e, c.u, v, u, c.value, c.with)
		}
	}
}

func TestNoHyphenEverStandsForMinus(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x, d := rapid.Float64Range(-1e6, 1e6).Draw(t, "x"), rapid.IntRange(0, 4).Draw(t, "decimals")
		if s := signed(x, d) + fixed(x, d); strings.Contains(s, "-") || strings.Contains(s, "+\u2212") {
			t.Fatalf("%g prints as %q", x, s)
		}
	})
}

func TestTimes(t *testing.T) {
	berlin := time.FixedZone("CET", 3600)
	tests := []struct{ name, got, want string }{
		{"now", ago(0), "0 s ago"},
		{"a slot ahead of now", ago(-300 * time.Millisecond), "0 s ago"},
		{"seconds", ago(119 * time.Second), "119 s ago"},
		{"minutes", ago(2 * time.Minute), "2 min ago"},
		{"hours", ago(3 * time.Hour), "3 h ago"},
		{"days", ago(50 * time.Hour), "2 d ago"},
		{"this year", day(noon.AddDate(0, -1, 0), noon), "25 Oct"},
		{"another year", day(noon.AddDate(0, 2, 0), noon), "25 Jan 2027"},
		{"zone of the caller does not matter", clock(noon.In(berlin)), "12:00:00 UTC"},
		{"onset today", onset(noon.Add(-3*time.Hour), noon), "09:00 UTC"},
		{"onset long ago", onset(noon.AddDate(0, 0, -47), noon), "9 Oct"},
		{"moment", moment(noon.In(berlin)), "25 Nov 2026, 12:00 UTC"},
		{"no moment", stamp(time.Time{}), ""},
		{"list", list([]string{"a1", "b1", "b2"}), "a1, b1 and b2"},
	}
	for _, c := range tests {
		if c.got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, c.got, c.want)
		}
	}
}
