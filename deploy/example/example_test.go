package example_test

import (
	"fmt"
	"strings"
	"testing"

	"ohmdrift/config"
	"ohmdrift/deploy/example"
	"ohmdrift/diagnostics/measure"
)

func load(t *testing.T) *config.Plant {
	t.Helper()
	p, err := config.LoadFS(example.Files, example.Main)
	if err != nil {
		t.Fatalf("the example is not valid:\n%v", err)
	}
	return p
}

func TestExampleIsValid(t *testing.T) {
	p := load(t)
	if len(p.Loops) != 60 || len(p.Links) != 6 {
		t.Errorf("%d loops over %d links; want 60 over 6", len(p.Loops), len(p.Links))
	}
	for _, w := range p.Warnings {
		t.Errorf("a warning that nobody meant: %v", w)
	}
	for _, l := range p.Links {
		if !strings.HasPrefix(l.URL, "tcp://127.0.0.1:") {
			t.Errorf("link %s: %s is not on loopback", l.Name, l.URL)
		}
	}
}

// The example shows every wiring, method and report level, three junction boxes,
// and a complete terminal run for every lead.
func TestExampleShowsEverything(t *testing.T) {
	p := load(t)
	seen, boxes := make(map[string]bool), make(map[string]bool)
	for i := range p.Loops {
		l := &p.Loops[i]
		seen[fmt.Sprintf("%d wires", l.Wires)] = true
		seen[l.Method.String()] = true
		seen[l.Reports.String()] = true
		if l.Box != "" {
			boxes[l.Box] = true
		}
		points := make(map[measure.Lead]int)
		for _, at := range l.Terminals {
			points[at.Lead]++
		}
		want := 3 // head, cabinet, transmitter
		if l.Box != "" {
			want++
		}
		for _, lead := range l.Leads() {
			if points[lead] != want {
				t.Errorf("%s %s passes %d terminals, want %d", l.Tag, lead, points[lead], want)
			}
		}
	}
	for _, want := range []string{
		"2 wires", "3 wires", "4 wires", "two-wire", "two-wire-fixed", "three-wire-loop", "three-wire-dual", "three-wire-half",
		"four-wire", "four-wire-loop", "device-corrected", "all-leads", "pairs", "loops", "reading",
	} {
		if !seen[want] {
			t.Errorf("no loop with %s", want)
		}
	}
	if len(boxes) != 3 {
		t.Errorf("junction boxes %v; want three", boxes)
	}
}
