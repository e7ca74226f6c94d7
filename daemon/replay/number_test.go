package replay

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"
)

func TestNumber(t *testing.T) {
	nan := math.NaN()
	tests := []struct {
		text string
		want float64
		ok   bool
	}{
		{"", nan, true},
		{"NaN", nan, true},
		{"nan", nan, true},
		{" ", nan, true},
		{"0.5", 0.5, true},
		{"-0.5", -0.5, true},
		{"110.27", 110.27, true},
		{"7", 7, true},
		{"007", 7, true},
		{" 0.5 ", 0.5, true},
		{"94.38293824074765", 94.38293824074765, true},
		{"396.17437987852683", 396.17437987852683, true}, // not the same by one division
		{".5", 0.5, true},
		{"5.", 5, true},
		{"+5", 5, true},
		{"1e-3", 0.001, true},
		{"0.1234567890123456789", 0.1234567890123456789, true},
		{"", nan, true},
		{"inf", 0, false},
		{"-Inf", 0, false},
		{"1e999", 0, false},
		{"0x10", 0, false},
		{"1_000", 0, false},
		{"0,5", 0, false},
		{"abc", 0, false},
		{"-", 0, false},
		{".", 0, false},
		{"--5", 0, false},
		{"1.2.3", 0, false},
		{"5 Ω", 0, false},
	}
	for _, c := range tests {
		got, ok := number([]byte(c.text))
		if ok != c.ok || ok && math.Float64bits(got) != math.Float64bits(c.want) && !(math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("%q: %v %v, want %v %v", c.text, got, ok, c.want, c.ok)
		}
	}
}

// FuzzNumber holds the fast way against strconv: the same bits, or both refuse.
func FuzzNumber(f *testing.F) {
	for _, s := range []string{"0.5", "-110.2745", "1e5", "123456789012345", "1234567890.12345", "0.000000000000001", "9007199254740993", "NaN", "", "-0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, ok := number([]byte(s))
		trimmed := strings.TrimSpace(s)
		want, err := strconv.ParseFloat(trimmed, 64)
		switch {
		case trimmed == "" || strings.EqualFold(trimmed, "nan"):
			if !ok || !math.IsNaN(got) {
				t.Fatalf("%q: %v %v, want NaN", s, got, ok)
			}
		case err != nil || math.IsInf(want, 0) || math.IsNaN(want) || strings.ContainsAny(trimmed, "_xX"):
			if ok {
				t.Fatalf("%q: %v, want refused (%v)", s, got, err)
			}
		case !ok || math.Float64bits(got) != math.Float64bits(want):
			t.Fatalf("%q: %v %v, want %v", s, got, ok, want)
		}
	})
}

func TestStamp(t *testing.T) {
	for _, c := range []struct {
		text string
		want string // RFC 3339; empty = refused
	}{
		{"2026-03-01T12:00:00Z", "2026-03-01T12:00:00Z"},
		{"2024-02-29T23:59:59Z", "2024-02-29T23:59:59Z"},
		{"2025-02-29T00:00:00Z", ""},
		{"2026-03-01T12:00:00+02:00", "2026-03-01T10:00:00Z"},
		{"2026-03-01T12:00:00.25Z", "2026-03-01T12:00:00.25Z"},
		{"1970-01-01T00:00:00Z", "1970-01-01T00:00:00Z"},
		{"1969-12-31T23:59:59Z", ""},
		{"2201-01-01T00:00:00Z", ""},
		{"2026-03-01 12:00:00", ""},
		{"2026-13-01T12:00:00Z", ""},
		{"2026-03-01T24:00:00Z", ""},
		{"", ""},
		{"20260301T120000Z", ""},
	} {
		got, ok := readStamp([]byte(c.text))
		if !ok && c.want != "" || ok && got.time().Format(time.RFC3339Nano) != c.want {
			t.Errorf("%q: %v %v, want %q", c.text, got.time(), ok, c.want)
		}
	}
}

// FuzzStamp holds the fast way against package time.
func FuzzStamp(f *testing.F) {
	for _, s := range []string{"2026-03-01T12:00:00Z", "2000-02-29T00:00:00Z", "2100-02-29T00:00:00Z", "2026-03-01T12:00:60Z", "2026-03-01T12:00:00.5+01:00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, ok := readStamp([]byte(s))
		want, err := time.Parse(time.RFC3339, s)
		good := err == nil && want.UTC().Year() >= 1970 && want.UTC().Year() <= 2200
		if ok != good || ok && !got.time().Equal(want) {
			t.Fatalf("%q: %v %v, want %v %v", s, got.time(), ok, want, err)
		}
	})
}

// TestStampEveryDay walks all dates that can be read.
func TestStampEveryDay(t *testing.T) {
	for d := time.Date(1970, 1, 1, 13, 14, 15, 0, time.UTC); d.Year() <= 2200; d = d.AddDate(0, 0, 1) {
		if got, ok := readStamp([]byte(d.Format(time.RFC3339))); !ok || got.sec != d.Unix() {
			t.Fatalf("%v: %d %v, want %d", d, got.sec, ok, d.Unix())
		}
	}
}
