package replay

import (
	"math"
	"strings"
	"testing"
	"time"

	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// seen makes the views of some days, four blocks each: a contact part of ±1 mΩ
// that grows by slope Ω a day from day 30 on; day 40 is missing.
func seen(days int, slope float64) (times []time.Time, views []drift.View) {
	for i := range 4 * days {
		if i/4 == 40 {
			continue
		}
		at := recordStart.Add(time.Duration(i+1) * 6 * time.Hour)
		v := drift.View{Block: at, Contact: measure.NoLeads()}
		d := float64(i) / 4
		v.Contact[measure.B1] = quantity.Ohm(0.001*math.Sin(1.7*math.Floor(d)) + 0.0002*math.Sin(float64(i)) + slope*max(0, d-30))
		times, views = append(times, at), append(views, v)
	}
	return times, views
}

func TestDaily(t *testing.T) {
	times, views := seen(45, 0)
	days, ohm := daily(times, views, measure.B1)
	if len(days) != 45 || len(ohm) != 45 || !math.IsNaN(ohm[40]) || math.IsNaN(ohm[39]) || !days[44].Equal(recordStart.Add(44*24*time.Hour)) {
		t.Fatalf("%d days, the last %v, day 40 %v; want 45, the 45th, missing", len(days), days[len(days)-1], ohm[40])
	}
	want := 0.0
	for _, v := range views[:4] {
		want += float64(v.Contact[measure.B1]) / 4
	}
	if math.Abs(ohm[0]-want) > 1e-12 {
		t.Errorf("first day %g, want the mean of its four blocks %g", ohm[0], want)
	}
	if _, none := daily(times, views, measure.A2); !math.IsNaN(none[10]) {
		t.Errorf("a lead that is not reported has %v, want NaN", none[10])
	}
}

func TestOpinion(t *testing.T) {
	say := func(days int, slope float64) string {
		times, views := seen(days, slope)
		at, ohm := daily(times, views, measure.B1)
		return opinion(at, ohm)
	}
	if s := say(20, 0); s != "" {
		t.Errorf("20 days: %q, want nothing", s)
	}
	if s := say(70, 0); !strings.Contains(s, "CUSUM: no. EWMA: no.") || strings.Contains(s, "NaN") {
		t.Errorf("sound: %q, want no signal", s)
	}
	s := say(70, 0.002)
	if !strings.Contains(s, "+2.00 mΩ a day") || strings.Contains(s, "CUSUM: no") || strings.Contains(s, "EWMA: no") {
		t.Errorf("2 mΩ a day: %q", s)
	}
	if !strings.Contains(s, "begun by "+recordStart.Add(30*24*time.Hour).Format("2006-01")) && !strings.Contains(s, "begun by "+recordStart.Add(32*24*time.Hour).Format(time.DateOnly)) {
		t.Errorf("the growth began on day 30: %q", s)
	}
	if s := say(70, -0.002); !strings.Contains(s, "−2.00 mΩ a day") || strings.ContainsRune(s, '-') && strings.Contains(s, " -") {
		t.Errorf("falling: %q, want a true minus", s)
	}
}
