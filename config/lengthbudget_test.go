package config

import (
	"math"
	"strings"
	"testing"
)

func TestLengthBudget(t *testing.T) {
	tests := []struct {
		row     string // method, class, conductor, spread
		longest float64
		source  string
	}{
		{"three-wire-dual,grade A,22 AWG,5 %", 4.797, "0.25·0.13·0.39083/(0.05·0.0529622) m; common practice: about 15 ft (15.74 ft)"},
		{"three-wire-dual,grade A,22 AWG,", 4.797, "5 % where no spread is stated"},
		{"three-wire-half,grade A,22 AWG,10 %", 2.398, "half of it at twice the spread"},
		{"two-wire,B,0.5 mm2,", 0.4071, "0.25·0.3·0.39083/(2·0.036) m, IEC 60228 class 2"},
		{"four-wire,A,0.5 mm2,", math.NaN(), "no lead is left in the reading"},
		{"three-wire-dual,A,,", math.NaN(), "no conductor"},
		{"three-wire-dual,,22 AWG,", math.NaN(), "no class and no limit"},
	}
	for _, c := range tests {
		p, err := loadIndexText("tag,method,class,conductor,spread\nTT-1,"+c.row+"\n", nil)
		if err != nil {
			t.Fatal(err)
		}
		got := p.Loops[0].LengthBudget()
		if d := math.Abs(float64(got.Longest) - c.longest); d > 0.0005 || math.IsNaN(float64(got.Longest)) != math.IsNaN(c.longest) || got.Why == "" {
			t.Errorf("%s: %.4f m (%s), want %.4f (%s)", c.row, float64(got.Longest), got.Why, c.longest, c.source)
		}
	}
	p, err := loadIndexText("tag,method,limit_degC,conductor\nTT-1,three-wire-dual,0.13,22 AWG\n", nil)
	if err != nil {
		t.Fatal(err)
	}
	if b := p.Loops[0].LengthBudget(); math.Abs(float64(b.Longest)-4.797) > 0.0005 || !strings.Contains(b.Why, "error limit") {
		t.Errorf("by the error limit: %+v", b)
	}
}
