package web

import (
	"encoding/json"
	"math"
	"net/http"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

func recorded(at time.Time, e float64) TrendPoint {
	return TrendPoint{At: at, Error: quantity.DeltaC(e), U: 0.02, Contact: measure.NoLeads()}
}

// A spike of one point is in the picture however wide its steps are.
func TestDecimationKeepsExtremes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(-5, 5), 1, 300).Draw(t, "values")
		width := rapid.IntRange(1, 50).Draw(t, "width")
		to := noon.Add(time.Duration(len(values)) * time.Minute)
		d := &decimator{from: noon, step: stepsFor(noon, to, width)}
		low, high := math.Inf(1), math.Inf(-1)
		for i, v := range values {
			d.add(recorded(noon.Add(time.Duration(i)*time.Minute), v))
			low, high = min(low, v), max(high, v)
		}
		a := d.answer("TT-1", noon, to, time.Time{})
		gotLow, gotHigh := math.Inf(1), math.Inf(-1)
		for i := range a.TimeS {
			gotLow, gotHigh = min(gotLow, float64(a.ErrorDegC.Min[i])), max(gotHigh, float64(a.ErrorDegC.Max[i]))
		}
		if gotLow != low || gotHigh != high {
			t.Fatalf("extremes %g and %g, want %g and %g", gotLow, gotHigh, low, high)
		}
		if len(a.TimeS) > width+1 {
			t.Fatalf("%d steps for a width of %d", len(a.TimeS), width)
		}
	})
}

func TestAnOutageBreaksTheLineAndSparseRecordsDoNot(t *testing.T) {
	d := &decimator{from: noon, step: time.Second}
	for _, s := range []int{0, 60, 120, 180, 4000, 4060} {
		d.add(recorded(noon.Add(time.Duration(s)*time.Second), 1))
	}
	a := d.answer("TT-1", noon, noon.Add(5000*time.Second), time.Time{})
	want := []int64{0, 60, 120, 180, 181, 4000, 4060}
	if len(a.TimeS) != len(want) {
		t.Fatalf("times %v, want %v after %d", a.TimeS, want, noon.Unix())
	}
	for i, s := range want {
		empty := math.IsNaN(float64(a.ErrorDegC.Mean[i]))
		if a.TimeS[i]-noon.Unix() != s || empty != (s == 181) {
			t.Errorf("step %d at %d, empty %v; want %d, empty %v", i, a.TimeS[i]-noon.Unix(), empty, s, s == 181)
		}
	}
}

func TestTrendAnswer(t *testing.T) {
	p := larkfield(3, time.Now())
	status, _, body := get(t, p, "/api/loops/TT-1101/trend?width=50")
	if status != http.StatusOK {
		t.Fatalf("status %d: %s", status, body)
	}
	var a struct {
		Loop       string     `json:"loop"`
		StepS      int64      `json:"step_s"`
		Recorded   *time.Time `json:"recorded_until"`
		TimeS      []int64    `json:"time_s"`
		ErrorDegC  struct{ Min, Mean, Max []*float64 }
		ContactOhm map[string]struct{ Min, Mean, Max []*float64 } `json:"contact_ohm"`
	}
	if err := json.Unmarshal([]byte(strings.Replace(body, "error_degC", "ErrorDegC", 1)), &a); err != nil {
		t.Fatal(err)
	}
	if n := len(a.TimeS); n < 45 || n > 51 || len(a.ErrorDegC.Mean) != n || len(a.ContactOhm["b1"].Max) != n {
		t.Errorf("%d times, %d errors, %d contacts; want about 50 of each", n, len(a.ErrorDegC.Mean), len(a.ContactOhm["b1"].Max))
	}
	if _, has := a.ContactOhm["a2"]; has || a.Recorded == nil {
		t.Errorf("a2 present %v (want absent), recorded until %v (want a time)", has, a.Recorded)
	}
}

func TestTrendSaysWhatIsWrongWithTheQuestion(t *testing.T) {
	p := larkfield(3, time.Now())
	tests := []struct {
		path   string
		status int
		says   string
	}{
		{"/api/loops/TT-9/trend", 404, "TT-9"},
		{"/api/loops/TT-1101/trend?from=yesterday", 400, "yesterday is not a time; write 2026-"},
		{"/api/loops/TT-1101/trend?from=2026-01-02T00:00:00Z&to=2026-01-01T00:00:00Z", 400, "not before"},
		{"/api/loops/TT-1101/trend?width=0", 400, "from 1 to 2000"},
		{"/api/loops/TT-1101/trend?width=99999", 400, "from 1 to 2000"},
	}
	for _, c := range tests {
		status, head, body := get(t, p, c.path)
		if status != c.status || !strings.Contains(body, c.says) || head.Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s: %d %s %s; want %d with %q", c.path, status, head.Get("Content-Type"), body, c.status, c.says)
		}
	}
}
