package web

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"ohmdrift/diagnostics/quantity"
)

// Every number, unit and time that a person reads is written here.

// minus is the true minus sign; a hyphen is shorter than a plus and gets lost.
const minus = "\u2212"

// fixed prints x with the given decimals and a true minus sign; "" for a value
// that is not known. A negative zero loses its sign.
func fixed(x float64, decimals int) string {
	if !quantity.Known(x) {
		return ""
	}
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if !strings.HasPrefix(s, "-") {
		return s
	}
	if strings.Trim(s, "-0.") == "" {
		return s[1:]
	}
	return minus + s[1:]
}

// signed is fixed with a plus sign on positive values.
func signed(x float64, decimals int) string {
	s := fixed(x, decimals)
	if s == "" || strings.HasPrefix(s, minus) || strings.Trim(s, "0.") == "" {
		return s
	}
	return "+" + s
}

// ohm prints a resistance in Ω to 1 mΩ, without its unit.
func ohm[T ~float64](x T) string { return fixed(float64(x), 3) }

// signedOhm prints a difference of resistances in Ω to 1 mΩ, without its unit.
func signedOhm[T ~float64](x T) string { return signed(float64(x), 3) }

// decimalsFor returns how many decimals a value with the expanded uncertainty u
// in °C deserves: the place of u's first digit, at least 1 and at most 3. It
// adds one place when that first digit is 1, where rounding would move u by up
// to half of itself (JCGM 100, 7.2.6: at most two digits of an uncertainty).
func decimalsFor(u float64) int {
	if !quantity.Known(u) || u <= 0 {
		return 2
	}
	place := -math.Floor(math.Log10(u))
	if u*math.Pow(10, place) < 2 {
		place++
	}
	return int(min(max(place, 1), 3))
}

// errorAndU prints a reading error in °C and its expanded uncertainty with the
// same decimals, without units; "" for what is not known. An uncertainty finer
// than the last decimal prints as that decimal: nothing is exact.
func errorAndU(e, u quantity.DeltaC) (value, uncertainty string) {
	d := decimalsFor(float64(u))
	return signed(float64(e), d), fixed(max(math.Abs(float64(u)), math.Pow10(-d)), d)
}

// degC prints a temperature in °C to 0.1 °C with its unit.
func degC(t quantity.DegC) string {
	if s := fixed(float64(t), 1); s != "" {
		return s + " °C"
	}
	return ""
}

// percent prints a share as whole per cent.
func percent(share float64) string {
	switch {
	case !quantity.Known(share):
		return ""
	case share >= 9.995:
		return "> 999 %"
	}
	return fixed(share*100, 0) + " %"
}

// ago prints how long ago a moment was. A moment slightly ahead of now (the
// next poll slot) counts as now.
func ago(d time.Duration) string { return span(d) + " ago" }

// span prints a duration in the largest unit that keeps it readable.
func span(d time.Duration) string {
	switch {
	case d < time.Second:
		return "0 s"
	case d < 2*time.Minute:
		return fmt.Sprintf("%d s", d/time.Second)
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min", d/time.Minute)
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h", d/time.Hour)
	}
	return fmt.Sprintf("%d d", d/(24*time.Hour))
}

// day prints the UTC date, with the year only where it is not now's.
func day(t, now time.Time) string { return dated(t, now, "2 Jan", "2 Jan 2006") }

// longDay is day with the month in full.
func longDay(t, now time.Time) string { return dated(t, now, "2 January", "2 January 2006") }

func dated(t, now time.Time, same, other string) string {
	t, now = t.UTC(), now.UTC()
	if t.Year() == now.Year() {
		return t.Format(same)
	}
	return t.Format(other)
}

func sameDay(a, b time.Time) bool {
	const day = "2006-01-02"
	return a.UTC().Format(day) == b.UTC().Format(day)
}

// onset prints when something began: the time of day where it was today, else
// the date, so that last night's 22:00 is not taken for tonight's.
func onset(t, now time.Time) string {
	if sameDay(t, now) {
		return t.UTC().Format("15:04 UTC")
	}
	return day(t, now)
}

// longOnset is onset with the month in full.
func longOnset(t, now time.Time) string {
	if sameDay(t, now) {
		return onset(t, now)
	}
	return longDay(t, now)
}

// clock prints the UTC time of day with its zone.
func clock(t time.Time) string { return t.UTC().Format("15:04:05 UTC") }

// moment prints date and time of day with the zone.
func moment(t time.Time) string { return t.UTC().Format("2 Jan 2006, 15:04 UTC") }

// stamp is the machine-readable form of a moment; "" for none.
func stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339)
}

// list joins words as a person would: "b1", "b1 and b2", "a1, b1 and b2".
func list(words []string) string {
	switch n := len(words); n {
	case 0:
		return ""
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
}
