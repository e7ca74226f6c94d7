package web

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func decode(t *testing.T, body string) map[string]any {
	t.Helper()
	var v map[string]any
	if err := json.Unmarshal([]byte(body), &v); err != nil {
		t.Fatalf("%v in %s", err, body)
	}
	return v
}

func TestAPILoops(t *testing.T) {
	_, head, body := get(t, larkfield(6, time.Now()), "/api/loops")
	if got := head.Get("Content-Type"); got != "application/json" {
		t.Errorf("content type %q", got)
	}
	a := decode(t, body)
	loops := a["loops"].([]any)
	if len(loops) != 6 || a["site"] != "Larkfield" {
		t.Fatalf("%d loops of %v", len(loops), a["site"])
	}
	first, pairs, two := loops[0].(map[string]any), loops[3].(map[string]any), loops[4].(map[string]any)
	want := map[string]any{"a1": 0.6, "b1": 0.73, "b2": 0.606}
	if d := cmp.Diff(want, first["lead_ohm"]); d != "" {
		t.Errorf("leads (want −, got +):\n%s", d)
	}
	if first["imbalance_ohm"] != -0.126 || first["condition"] != "maintenance" || first["live"] != true {
		t.Errorf("TT-1101: %v", first)
	}
	// absent is null, never 0: never polled, and two-wire that shows only its reading
	for _, l := range []map[string]any{pairs, two} {
		for _, k := range []string{"imbalance_ohm", "error_degC", "u_degC", "share_of_limit"} {
			if v, has := l[k]; !has || v != nil {
				t.Errorf("%v: %s is %v, want null", l["loop"], k, v)
			}
		}
	}
	if pairs["live"] != false || pairs["quality_text"] != "never polled" || pairs["value_time"] != nil {
		t.Errorf("never polled: %v", pairs)
	}
}

func TestAPILoop(t *testing.T) {
	p := larkfield(6, time.Now())
	status, _, body := get(t, p, "/api/loops/TT-1101")
	a := decode(t, body)
	if status != http.StatusOK || a["link"] != "gateway-2" || len(a["terminals"].([]any)) != 12 || len(a["findings"].([]any)) != 1 {
		t.Errorf("%d %s", status, body)
	}
	if got := a["contact_ohm"].(map[string]any)["b1"]; got != 0.126 {
		t.Errorf("contact of b1 %v, want 0.126", got)
	}
	if status, _, body := get(t, p, "/api/loops/TT-9"); status != http.StatusNotFound || !strings.Contains(body, "TT-9") {
		t.Errorf("unknown tag: %d %s", status, body)
	}
}

func TestHealthFollowsProgress(t *testing.T) {
	now := time.Now()
	tests := []struct {
		name   string
		p      Progress
		status int
	}{
		{"polls end", Progress{Started: now.Add(-time.Hour), LastPoll: now}, 200},
		{"just started, none ended yet", Progress{Started: now.Add(-5 * time.Second)}, 200},
		{"started long ago, none ever ended", Progress{Started: now.Add(-time.Minute)}, 503},
		{"stopped", Progress{Started: now.Add(-time.Hour), LastPoll: now.Add(-31 * time.Second)}, 503},
		{"a slow plant is not stalled", Progress{Started: now.Add(-time.Hour), LastPoll: now.Add(-31 * time.Second), StallAfter: 3 * time.Minute}, 200},
		{"never started", Progress{}, 503},
	}
	for _, c := range tests {
		status, _, body := get(t, &plant{progress: c.p}, "/healthz")
		if ok := decode(t, body)["ok"]; status != c.status || ok != (c.status == 200) {
			t.Errorf("%s: %d %s, want %d", c.name, status, body, c.status)
		}
	}
}
