package peers

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

const (
	ohms   = 1e-4 // Ω: what 1 mK is worth is 0.37 to 0.40 mΩ for a Pt100 of −50 to 200 °C
	kelvin = 1e-3
)

// answer is a line of ohmdrift read --json.
type answer struct {
	Loop      string   `json:"loop"`
	Quality   string   `json:"quality"`
	Problem   string   `json:"problem"`
	A1        *float64 `json:"a1_ohm"`
	A2        *float64 `json:"a2_ohm"`
	B1        *float64 `json:"b1_ohm"`
	B2        *float64 `json:"b2_ohm"`
	Reading   *float64 `json:"reading_degC"`
	Imbalance *float64 `json:"imbalance_ohm"`
	Error     *float64 `json:"error_degC"`
}

// expected is what must come out of one unit of registers.txt. NaN = absent.
type expected struct {
	loop, source                       string
	a1, a2, b1, b2, imbalance, errDegC float64
	reading                            float64
}

// want lists one loop per unit. R(t) = 100·(1 + A·t + B·t² + C·(t − 100)·t³), C
// only below 0 °C, with A = 3.9083e-3, B = −5.775e-7, C = −4.183e-12 (IEC 60751);
// the error is t(R + imbalance) − t, solved outside of this program to 40 digits
// by Newton's method.
func want() []expected {
	absent := math.NaN()
	return []expected{
		{
			"TT-9101", "three-wire-loop leaves a1 − b2 = 0.54 − 0.50 = 0.04 Ω; R(25) = 109.73465625 Ω, t(109.77465625) = 25.1031096463 °C",
			0.54, absent, 0.50, 0.50, 0.04, 0.1031096463, 25.1031096463,
		},
		{
			"TT-9102", "three-wire-dual leaves a1 − b1 = 0.60 − 0.50 = 0.10 Ω; R(200) = 175.856 Ω, t(175.956) = 200.2719502652 °C",
			0.60, absent, 0.50, 0.52, 0.10, 0.2719502652, 200.2719502652,
		},
		{
			"TT-9103", "three-wire-half leaves a1 − (b1 + b2)/2 = 0.60 − 0.51 = 0.09 Ω; R(−50) = 80.306281875 Ω, t(80.396281875) = −49.7733636568 °C; the register has −49.77 °C",
			0.60, absent, 0.50, 0.52, 0.09, 0.2266363432, -49.77,
		},
		{
			"TT-9104", "a1 = (1.06 + 110.74465625 − 110.78465625)/2 = 0.51 Ω and so on from the six pairs; four-wire leaves 0",
			0.51, 0.55, 0.50, 0.62, 0, 0, 25,
		},
	}
}

// TestPeers reads each server with the real program, as a technician would, and
// compares with values computed by hand.
func TestPeers(t *testing.T) {
	program := build(t)
	for _, p := range peers() {
		t.Run(p.name, func(t *testing.T) {
			got := read(t, program, writePlant(t, p.start(t)))
			for _, w := range want() {
				w.check(t, got[w.loop])
			}
		})
	}
}

func (w expected) check(t *testing.T, a answer) {
	t.Helper()
	if a.Quality != "good" {
		t.Errorf("%s: quality %q, problem %q; want good", w.loop, a.Quality, a.Problem)
	}
	for _, c := range []struct {
		name         string
		got          *float64
		want, within float64
	}{
		{"a1_ohm", a.A1, w.a1, ohms},
		{"a2_ohm", a.A2, w.a2, ohms},
		{"b1_ohm", a.B1, w.b1, ohms},
		{"b2_ohm", a.B2, w.b2, ohms},
		{"imbalance_ohm", a.Imbalance, w.imbalance, ohms},
		{"error_degC", a.Error, w.errDegC, kelvin},
		{"reading_degC", a.Reading, w.reading, kelvin},
	} {
		switch {
		case c.got == nil && math.IsNaN(c.want):
		case c.got == nil:
			t.Errorf("%s: %s is absent, want %v; %s", w.loop, c.name, c.want, w.source)
		case !(math.Abs(*c.got-c.want) <= c.within): // also when absence was wanted
			t.Errorf("%s: %s = %v, want %v ± %v; %s", w.loop, c.name, *c.got, c.want, c.within, w.source)
		}
	}
}

// build returns the program, built from this tree.
func build(t *testing.T) string {
	t.Helper()
	program := filepath.Join(t.TempDir(), "ohmdrift")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", program, "ohmdrift/cmd/ohmdrift").CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, out)
	}
	return program
}

// writePlant copies the plant of testdata, its link leading to url, and returns
// the name of the plant file.
func writePlant(t *testing.T, url string) string {
	t.Helper()
	link := "url: " + url
	if strings.HasPrefix(url, "rtu:") {
		link += ", baud: " + baud + ", parity: none, stop-bits: 1"
	}
	dir := t.TempDir()
	files, err := filepath.Glob("testdata/*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		text = bytes.ReplaceAll(text, []byte("LINK"), []byte(link))
		if err := os.WriteFile(filepath.Join(dir, filepath.Base(f)), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "plant.yaml")
}

// read runs ohmdrift read and returns its answer by loop.
func read(t *testing.T, program, plantFile string) map[string]answer {
	t.Helper()
	var errs bytes.Buffer
	c := exec.CommandContext(t.Context(), program, "read", "--json", "--config", plantFile)
	c.Stderr = &errs
	out, err := c.Output()
	if len(out) == 0 {
		t.Fatalf("ohmdrift read printed nothing: %v\n%s", err, errs.String())
	}
	if err != nil {
		t.Errorf("ohmdrift read: %v\n%s", err, errs.String())
	}
	answers := map[string]answer{}
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var a answer
		switch err := d.Decode(&a); {
		case errors.Is(err, io.EOF):
			return answers
		case err != nil:
			t.Fatalf("%v in what ohmdrift read printed:\n%s", err, out)
		}
		answers[a.Loop] = a
	}
}
