package main

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func budget(t *testing.T, args ...string) (string, string, int) {
	t.Helper()
	var out, errs bytes.Buffer
	code := execute(append([]string{"budget"}, args...), strings.NewReader(""), &out, &errs)
	return out.String(), errs.String(), code
}

// Figures in common use about lead lengths, each with the assumption that
// reproduces it.
func TestBudgetOfCommonPractice(t *testing.T) {
	tests := []struct {
		args         []string
		key          string
		want, within float64
		source       string
	}{
		{[]string{"--gauge", "22 AWG", "--length", "15 ft"}, "lead_ohm", 0.2421, 5e-5, "15 ft at 1.61429 Ω/100 ft"},
		{[]string{"--gauge", "22 AWG", "--length", "15 ft"}, "error_degC", 0.0310, 5e-5, "5 % of it at 0.39083 Ω/K"},
		{[]string{"--gauge", "22 AWG", "--length", "15 ft"}, "share", 0.238, 5e-4, "24 % of grade A at 0 °C"},
		{[]string{"--gauge", "22 AWG", "--length", "15 ft"}, "longest_ft", 15.74, 0.005, "about 15 ft keeps grade A: 5 %, a quarter"},
		{[]string{"--gauge", "22 AWG", "--length", "15 ft"}, "longest_m", 4.797, 0.0005, "the same"},
		{[]string{"--gauge", "22 AWG", "--length", "15 ft", "--spread", "10%", "--share", "50%"}, "longest_ft", 15.74, 0.005, "10 % and a half, the same length"},
		{[]string{"--gauge", "22 AWG", "--length", "30 ft"}, "share", 0.477, 5e-4, "30 ft deserves a check: 48 % of grade A"},
		{[]string{"--gauge", "22 AWG", "--length", "30 ft", "--share", "50%"}, "longest_ft", 31.5, 0.05, "half the tolerance"},
		{[]string{"--gauge", "18 AWG stranded tinned", "--length", "100 ft"}, "error_degF", 0.16, 0.005, "18 AWG: 0.16 °F per 100 ft, at 5 % of a tinned stranded one"},
		{[]string{"--ohm-per", "0.69 ohm/100 ft", "--length", "100 ft"}, "error_degF", 0.1589, 5e-5, "5 % of 0.69 Ω, by hand"},
		{[]string{"--gauge", "18 AWG", "--length", "100 ft", "--lead-temp", "40 C"}, "error_degF", 0.1586, 5e-5, "5 % of solid copper at 40 °C"},
		{[]string{"--gauge", "18 AWG", "--length", "100 ft"}, "error_degF", 0.147, 5e-4, "5 % of solid copper at 20 °C"},
		{[]string{"--ohm-per", "6.66 ohm/1000 ft", "--length", "100 ft", "--spread", "1.5%"}, "error_degF", 0.046, 5e-4, "18 AWG: 0.46 °F per 1000 ft, at 1.5 %"},
		{[]string{"--ohm-per", "36 ohm/km", "--length", "30 m"}, "imbalance_ohm", 0.054, 1e-9, "30 m of 0.5 mm²"},
		{[]string{"--gauge", "0.5 mm2", "--length", "30 m"}, "error_degC", 0.138, 5e-4, "about class A at 0 °C"},
		{[]string{"--wires", "2", "--gauge", "18 AWG", "--length", "100 ft"}, "imbalance_ohm", 2 * 0.638488, 2e-6, "both leads"},
		{[]string{"--wires", "2", "--method", "two-wire-fixed", "--gauge", "18 AWG", "--length", "100 ft", "--lead-temp", "60 C"}, "imbalance_ohm", 0.2007, 5e-5, "fixed compensation and 40 K"},
		{[]string{"--gauge", "22 AWG", "--length", "15 ft", "--spread", "3%", "--spread-of", "sum"}, "imbalance_ohm", 0.0145286, 1e-6, "3 % of the sum is 6 % of the mean"},
		{[]string{"--gauge", "22 AWG", "--length", "15 ft", "--spread", "6.185567%", "--spread-of", "min"}, "imbalance_ohm", 0.0145286, 1e-6, "3 % (sum) = 6.19 % (min)"},
		{[]string{"--wires", "4", "--length", "100 m"}, "error_degC", 0, 0, "four wires: none"},
		{[]string{"--temp", "212 F", "--length", "15 ft"}, "tolerance_degC", 0.30, 1e-9, "grade A at 100 °C"},
		{[]string{"--class", "AA", "--construction", "film", "--temp", "200 C", "--length", "15 ft"}, "tolerance_degC", 0.55, 1e-9, "film AA at 200 °C is judged as A"},
	}
	for _, c := range tests {
		out, errs, code := budget(t, append(c.args, "--json")...)
		if code != exitGood {
			t.Fatalf("%v: exit %d: %s", c.args, code, errs)
		}
		var got map[string]any
		if err := json.Unmarshal([]byte(out), &got); err != nil {
			t.Fatalf("%v: %v in %s", c.args, err, out)
		}
		v, ok := got[c.key].(float64)
		if !ok || math.Abs(v-c.want) > c.within {
			t.Errorf("%v: %s = %v, want %v ± %v (%s)", c.args, c.key, got[c.key], c.want, c.within, c.source)
		}
	}
}

func TestBudgetPrintsItsAssumptions(t *testing.T) {
	out, _, code := budget(t, "--gauge", "22 AWG", "--temp", "-20 C", "--spread", "3%", "--spread-of", "sum")
	if code != exitGood {
		t.Fatalf("exit %d", code)
	}
	for _, want := range []string{"(Rmax − Rmin)/(Rmax + Rmin)", "3 %", "−20 °C (−4 °F)", "three-wire-loop", "22 AWG", "25.0 % of the tolerance"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

func TestBudgetTable(t *testing.T) {
	out, _, code := budget(t, "--table", "--json")
	var got struct {
		Rows []struct {
			Conductor string   `json:"conductor"`
			LongestM  *float64 `json:"longest_m"`
		} `json:"rows"`
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil || code != exitGood || len(got.Rows) != len(budgetGauges) {
		t.Fatalf("exit %d, %v: %s", code, err, out)
	}
	for i := 1; i < 7; i++ { // thinner wire, shorter cable
		if *got.Rows[i].LongestM >= *got.Rows[i-1].LongestM {
			t.Errorf("%s may be longer than %s", got.Rows[i].Conductor, got.Rows[i-1].Conductor)
		}
	}
	text, _, _ := budget(t, "--table")
	if !strings.Contains(text, "15.74 ft") || !strings.Contains(text, "0.75 mm2") {
		t.Errorf("table:\n%s", text)
	}
}

func TestBudgetPlotIsSVG(t *testing.T) {
	file := filepath.Join(t.TempDir(), "budget.svg")
	if _, errs, code := budget(t, "--plot", file); code != exitGood {
		t.Fatalf("exit %d: %s", code, errs)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(data, []byte("15.74 ft")) {
		t.Error("the longest cable is not marked")
	}
	for d := xml.NewDecoder(bytes.NewReader(data)); ; {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
	}
	if _, errs, code := budget(t, "--plot", filepath.Join(file, "no", "such.svg")); code != exitCouldnt || !strings.Contains(errs, "write plot") {
		t.Errorf("plot into nowhere: exit %d, %q", code, errs)
	}
}

func TestBudgetRefuses(t *testing.T) {
	tests := []struct {
		args []string
		want string
	}{
		{[]string{"--gauge", "22"}, `--gauge: conductor "22": no unit`},
		{[]string{"--length", "15"}, `--length: length "15": no unit`},
		{[]string{"--wires", "5"}, "--wires: 5"},
		{[]string{"--method", "three-wire"}, "--method"},
		{[]string{"--spread", "5"}, "--spread"},
		{[]string{"--share", "150%"}, "--share"},
		{[]string{"--class", "grade Z"}, "--class"},
		{[]string{"--temp", "900 C"}, "outside its curve"},
		{[]string{"--class", "AA", "--temp", "700 C"}, "does not hold"},
		{[]string{"--spread-of", "max"}, "--spread-of"},
		{[]string{"--wires", "4"}, "give --length"},
	}
	for _, c := range tests {
		_, errs, code := budget(t, c.args...)
		if code != exitUsage || !strings.Contains(errs, c.want) {
			t.Errorf("%v: exit %d, %q, want %q", c.args, code, errs, c.want)
		}
	}
}
