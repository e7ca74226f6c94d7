package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// ran runs one command line as a user would.
func ran(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = execute(args, strings.NewReader(""), &o, &e)
	return code, o.String(), e.String()
}

const exampleConfig = "../../deploy/example/larkfield.yaml"

func TestCheckShowsThePlant(t *testing.T) {
	code, out, errs := ran(t, "check", "--config", exampleConfig)
	if code != exitGood || errs != "" {
		t.Fatalf("exit %d, %s", code, errs)
	}
	for _, want := range []string{
		"Larkfield: 60 loops behind 6 links", "│ media ", "2.0 %", "a1 b1 b2 measured", "b1 b2 measured, a1 inferred",
		"a1 a2 b1 b2 bounded", "±0.5", "+0.3 −1", "assuming one cable with equal leads", "the cable is longer than its budget", "\ngood\n",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not shown", want)
		}
	}
	if strings.Contains(out, "NaN") || strings.Contains(out, "\x1b[") {
		t.Error("NaN or colour in the output")
	}
}

func TestCheckJSON(t *testing.T) {
	code, out, _ := ran(t, "check", "--config", exampleConfig, "--json")
	var c checkJSON
	if err := json.Unmarshal([]byte(out), &c); err != nil || code != exitGood {
		t.Fatalf("exit %d, %v", code, err)
	}
	if !c.OK || len(c.Loops) != 60 || len(c.Links) != 6 || c.Links[0].Loops != 10 || len(c.Hash) != 64 {
		t.Fatalf("%+v", c.Links)
	}
	for _, l := range c.Loops {
		if len(l.Leads) != l.Wires || l.Budget == "" || l.LeadOhm == nil {
			t.Errorf("%s: %+v", l.Tag, l)
		}
	}
}

func TestCheckListsMistakes(t *testing.T) {
	file := filepath.Join(t.TempDir(), "plant.yaml")
	text := "site: Larkfield\nlinks:\n  - {name: a, url: \"tcp://127.0.0.1\"}\nloops:\n  - {tag: TT-1, wires: 3, link: b, unit: 1.5, profile: leads-float}\n"
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	code, out, errs := ran(t, "check", "--config", file)
	if code != exitBad || errs != "" || !strings.HasSuffix(out, "\n3 mistakes\n") || !strings.HasPrefix(out, file+":5:24: loops[0].wires: ") {
		t.Errorf("exit %d, %q, %q", code, out, errs)
	}
	code, out, _ = ran(t, "check", "--json", "--config", file)
	var c checkJSON
	if err := json.Unmarshal([]byte(out), &c); err != nil || code != exitBad || c.OK || len(c.Mistakes) != 3 || c.Mistakes[2].Path != "loops[0].unit" || c.Mistakes[2].Line != 5 {
		t.Errorf("exit %d, %v, %s", code, err, out)
	}
}

func TestCheckUsage(t *testing.T) {
	for _, c := range []struct {
		args string
		code int
		errs string
	}{
		{"check", exitUsage, "config"},
		{"check --config a --schema", exitUsage, "config"},
		{"check --config a b", exitUsage, "unknown command"},
		{"check --schema=loops", exitUsage, "want plant or profile"},
		{"check --config nowhere.yaml", exitCouldnt, "no such file"},
		{"check --config .", exitCouldnt, "is a folder"},
	} {
		code, _, errs := ran(t, strings.Fields(c.args)...)
		if code != c.code || !strings.Contains(errs, c.errs) {
			t.Errorf("%s: exit %d, %q; want %d, %q", c.args, code, errs, c.code, c.errs)
		}
	}
}

func TestCheckPrintsTheSchema(t *testing.T) {
	for flag, want := range map[string]string{"--schema": "ohmdrift plant", "--schema=profile": "ohmdrift profile"} {
		code, out, _ := ran(t, "check", flag)
		var s struct{ Title string }
		if err := json.Unmarshal([]byte(out), &s); err != nil || code != exitGood || s.Title != want {
			t.Errorf("%s: exit %d, %v, title %q", flag, code, err, s.Title)
		}
	}
}
