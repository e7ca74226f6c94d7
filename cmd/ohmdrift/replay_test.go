package main

import (
	"compress/gzip"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// recorded writes an index of four loops and 40 days of data in which b1 of
// TT-3102 loses contact, and returns the names of both files.
func recorded(t *testing.T, extra string) (loops, input string) {
	dir := t.TempDir()
	loops, input = filepath.Join(dir, "index.csv"), filepath.Join(dir, "samples.csv.gz")
	index := "Tag No,method,reports,limit_degC,box,cable_m,conductor,calibrated\n"
	for i := range 4 {
		index += fmt.Sprintf("TT-%d,three-wire-dual,all-leads,0.3,JB-31,30,0.5 mm2,leads-out\n", 3101+i)
	}
	if err := os.WriteFile(loops, []byte(index), 0o644); err != nil {
		t.Fatal(err)
	}
	f, err := os.Create(input)
	if err != nil {
		t.Fatal(err)
	}
	z := gzip.NewWriter(f)
	fmt.Fprint(z, "reading,b2,b1,a1,loop,time,sensor\n"+extra)
	rnd := rand.New(rand.NewPCG(7, 7))
	start := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	for n := range 40 * 144 {
		at := start.Add(time.Duration(n) * 10 * time.Minute)
		days := float64(n) / 144
		copper := 1.08 * (1 + 0.03*math.Sin(2*math.Pi*(days-0.4)))
		for i := range 4 {
			b1 := copper
			if i == 1 && days > 15 {
				b1 += 0.012 * (days - 15)
			}
			noise := func() float64 { return 0.0008 * rnd.NormFloat64() }
			a1, b1, b2 := copper+noise(), b1+noise(), copper+noise()
			fmt.Fprintf(z, "%.2f,%.3f,%.3f,%.3f,TT-%d,%s,%.3f\n", 50+2.6*(a1-b1), b2, b1, a1, 3101+i, at.Format(time.RFC3339), 119.397+a1-b1)
		}
	}
	if err := errors.Join(z.Close(), f.Close()); err != nil {
		t.Fatal(err)
	}
	return loops, input
}

// TestReplayFindsTheLead runs the whole command over recorded data.
func TestReplayFindsTheLead(t *testing.T) {
	loops, input := recorded(t, "")
	dir := filepath.Join(t.TempDir(), "seen")
	args := []string{"replay", "--loops", loops, "--column", "Tag No=tag", "--input", input, "--estimates", "1h", "--explain", "TT-3102", "--explain-dir", dir}
	code, out, errs := ran(t, args...)
	if code != exitGood || !strings.Contains(errs, "23040 rows of 4 loops") {
		t.Fatalf("exit %d, %s", code, errs)
	}
	found, estimates, last := false, 0, time.Time{}
	for _, text := range strings.Split(strings.TrimSpace(out), "\n") {
		var l struct {
			Type, Loop, Kind, State, Severity string
			Time                              time.Time
			Leads                             []string
			ContactOhm                        map[string]*float64 `json:"-"`
		}
		if err := json.Unmarshal([]byte(text), &l); err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		if l.Time.Before(last) {
			t.Errorf("line of %v after one of %v", l.Time, last)
		}
		last = l.Time
		switch {
		case l.Type == "estimate":
			estimates++
		case l.Type == "finding" && l.Loop == "TT-3102":
			found = found || l.Kind == "lead-drift" && len(l.Leads) == 1 && l.Leads[0] == "b1" && l.State == "raised" && l.Severity != "info"
		case l.Severity != "info":
			t.Errorf("a sound loop: %s", text)
		}
	}
	if !found {
		t.Errorf("no lead-drift of b1 of TT-3102 in:\n%.3000s", out)
	}
	if most := 4 * (40*24 - 1); estimates < most-4*24 || estimates > most { // the engine may take a day to begin
		t.Errorf("%d estimates, want nearly %d", estimates, most)
	}
	checkExplanation(t, filepath.Join(dir, "TT-3102"))
}

func checkExplanation(t *testing.T, name string) {
	f, err := os.Open(name + ".csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 40*4-2 || rows[0][0] != "time" {
		t.Errorf("%d rows, err %v; want one for each block of 40 days", len(rows), err)
	}
	svg, err := os.Open(name + ".svg")
	if err != nil {
		t.Fatal(err)
	}
	defer svg.Close()
	paths := 0
	for d := xml.NewDecoder(svg); ; {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("not XML: %v", err)
		}
		if s, ok := tok.(xml.StartElement); ok && s.Name.Local == "path" {
			paths++
		}
	}
	if paths != 3*3+3*3+1 {
		t.Errorf("%d lines drawn, want 3 of each of 3 leads, movement, noise and rises of each, and the copper factor", paths)
	}
}

// TestReplayReportsBadRows: the exit code says that there were some.
func TestReplayReportsBadRows(t *testing.T) {
	loops, input := recorded(t, "50,1,1,1,TT-9,2026-03-01T00:00:00Z,119\n50,1,x,1,TT-3101,2026-03-01T00:00:00Z,119\n")
	code, out, errs := ran(t, "replay", "--loops", loops, "--column", "Tag No=tag", "--input", input)
	want := "line 2: loop \"TT-9\" is not in the plant; skipped\nline 3: b1 \"x\" is not a number; skipped\n23040 rows of 4 loops"
	if code != exitBad || !strings.HasPrefix(errs, want) || !strings.HasSuffix(errs, "2 bad rows skipped\n") || out == "" {
		t.Errorf("exit %d, %s", code, errs)
	}
}

func TestReplayByPlantFile(t *testing.T) {
	input := filepath.Join(t.TempDir(), "in.csv")
	if err := os.WriteFile(input, []byte("time,loop,a1\n2026-03-01T00:00:00Z,TT-2101,0.7\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	code, out, errs := ran(t, "replay", "--config", exampleConfig, "--input", input)
	if code != exitGood || out != "" || !strings.Contains(errs, "1 row of 60 loops") {
		t.Errorf("exit %d, %q, %s", code, out, errs)
	}
}

func TestReplayUsage(t *testing.T) {
	loops, input := recorded(t, "")
	for _, c := range []struct {
		args string
		code int
		errs string
	}{
		{"--input " + input, exitUsage, "loops"},
		{"--loops " + loops, exitUsage, "input"},
		{"--loops " + loops + " --config x --input " + input, exitUsage, "loops"},
		{"--loops " + loops + " --input " + input, exitBad, "Tag No: unknown column"},
		{"--loops " + loops + " --column Tag --input " + input, exitUsage, "your name=name here"},
		{"--loops nowhere.csv --input " + input, exitCouldnt, "no such file"},
		{"--loops " + loops + " --column Tag\u00a0No=tag --input nowhere.csv", exitCouldnt, "no such file"},
		{"--loops " + loops + " --column Tag\u00a0No=tag --input " + input + " --estimates 90m", exitUsage, "whole hours"},
		{"--loops " + loops + " --column Tag\u00a0No=tag --input " + input + " --explain TT-1", exitCouldnt, `loop "TT-1" is not in the plant`},
		{"--loops " + loops + " --column Tag\u00a0No=tag --input " + filepath.Dir(input), exitCouldnt, "is a folder"},
	} {
		args := append([]string{"replay"}, strings.Split(c.args, " ")...)
		for i := range args {
			args[i] = strings.ReplaceAll(args[i], "\u00a0", " ")
		}
		code, _, errs := ran(t, args...)
		if code != c.code || !strings.Contains(errs, c.errs) {
			t.Errorf("%s: exit %d, %q; want %d, %q", c.args, code, errs, c.code, c.errs)
		}
	}
}
