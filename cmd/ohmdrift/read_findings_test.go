package main

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmdrift/devices/plant"
	"ohmdrift/diagnostics/measure"
)

// TT-2103, the third loop of the example, is jumpered on side A: one reading
// shows it, and the technician is told which terminals to compare.
func TestReadNamesTheTerminals(t *testing.T) {
	file, _ := site(t, plant.Placed{Loop: 2, Tag: "TT-2103", Fault: plant.Fault{Kind: plant.Short, Lead: measure.A1, Onset: time.Now().Add(-time.Hour)}})
	var out, errs bytes.Buffer
	if code := execute([]string{"read", "--config", file, "TT-2103", "TT-2104"}, nil, &out, &errs); code != exitBad {
		t.Fatalf("exit %d, want %d\n%s%s", code, exitBad, out.String(), errs.String())
	}
	for _, want := range []string{"not-four-wire", "lead a1: TE-2103 head H:1, JB-21 X1:7, MC-1 XM1:7, TT-2103 module:1", "tell the control room"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("no %q in\n%s", want, out.String())
		}
	}
	out.Reset()
	execute([]string{"read", "--config", file, "TT-2103", "--json"}, nil, &out, &errs)
	var line readJSON
	if err := json.Unmarshal(out.Bytes(), &line); err != nil {
		t.Fatal(err)
	}
	if len(line.Findings) != 1 || !slices.Equal(line.Findings[0].Leads, []string{"a1", "a2"}) || len(line.Findings[0].Terminals["a2"]) != 4 {
		t.Errorf("findings %+v", line.Findings)
	}
	out.Reset()
	if code := execute([]string{"read", "--config", file, "TT-2104"}, nil, &out, &errs); code != exitGood || strings.Contains(out.String(), "tell the control room") {
		t.Errorf("a sound loop: exit %d\n%s", code, out.String())
	}
}
