package plant

import (
	"math"
	"testing"
	"time"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

func TestShrinkingSpot(t *testing.T) {
	// R/R0 = 1/(1 − √(t/τ)), computed by hand from the law to the digits given.
	for _, c := range []struct{ x, want, within float64 }{
		{0, 1, 0},
		{0.01, 1.0 / 0.9, 1e-12},
		{0.1, 1.4625, 5e-5},
		{0.25, 2, 1e-12},
		{0.5, 3.4142, 5e-5}, // 2 + √2
		{0.75, 7.4641, 5e-5},
		{0.9, 19.487, 5e-4},
		{0.99, 199.5, 5e-2},
	} {
		if got := shrinkingSpot(c.x); math.Abs(got-c.want) > c.within {
			t.Errorf("t/τ = %g: R/R0 = %.6g, want %g ± %g", c.x, got, c.want, c.within)
		}
	}
	if got := shrinkingSpot(1); !math.IsInf(got, 1) {
		t.Errorf("t/τ = 1: %g, want an open contact", got)
	}
}

func TestGrowthOfContacts(t *testing.T) {
	const life = 100 * 86400.0
	for _, c := range []struct {
		name string
		f    Fault
		x    float64 // age over life
		want float64 // Ω
	}{
		{"linear at half its life", Fault{Kind: Linear, Size: 0.2}, 0.5, 0.1},
		{"linear goes on", Fault{Kind: Linear, Size: 0.2}, 2, 0.4},
		{"film: √0.25 of its size", Fault{Kind: Film, Size: 0.2}, 0.25, 0.1},
		{"spot: 0.02 Ω becomes 0.04 at a quarter", Fault{Kind: TakeOff, Size: 0.02}, 0.25, 0.02},
		{"step is there at once", Fault{Kind: Step, Size: 0.1}, 0, 0.1},
		{"step grows by itself again", Fault{Kind: Step, Size: 0.1}, 1, 0.2},
		{"moisture when dry: a tenth", Fault{Kind: Moisture, Size: 0.2}, 1, 0.02},
	} {
		c.f.Life = 100 * 24 * time.Hour
		f := prepare(c.f, 1)
		if got := f.contact(0, c.x*life, 20, 0); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s: %g Ω, want %g", c.name, got, c.want)
		}
	}
}

func TestThermalContactFollowsTenTimesCopper(t *testing.T) {
	f := prepare(Fault{Kind: Thermal, Size: 0.1}, 1)
	cold, warm := f.contact(0, 1, 20, 0), f.contact(0, 1, 30, 0)
	if perK := (warm - cold) / 10 / cold; math.Abs(perK-thermalPerK) > 1e-12 {
		t.Errorf("%g /K, want %g", perK, thermalPerK)
	}
	if r := f.contact(0, 1, -40, 0); r != 0 {
		t.Errorf("a clamp drawn tight by frost has %g Ω, want 0", r)
	}
}

func TestIntermittentShareGrows(t *testing.T) {
	f := prepare(Fault{Kind: Intermittent, Size: 0.5, Life: time.Hour}, 1)
	share := func(x float64) float64 {
		bad := 0
		for i := range 20000 {
			if f.contact(float64(i)*excursionSlot, x*3600, 20, 0) > 0 {
				bad++
			}
		}
		return float64(bad) / 20000
	}
	// 2 % at first, 16 % at half its life, 30 % from its life on; 20,000 slots
	// have a standard error of at most 0.33 %.
	for _, c := range [][2]float64{{0, 0.02}, {0.5, 0.16}, {1, 0.30}, {3, 0.30}} {
		if got := share(c[0]); math.Abs(got-c[1]) > 0.012 {
			t.Errorf("age/life %g: %.3f of the slots bad, want %.3f", c[0], got, c[1])
		}
	}
}

// A degraded contact varies by 2 % of what it has beyond a sound one, and the
// reading with it; a sound lead has the device's noise alone (0.4 mΩ).
func TestDegradedContactsVary(t *testing.T) {
	p, err := Story(Step, 1, start, StorySpec(wiring.ThreeWireDual, wiring.AllLeads))
	if err != nil {
		t.Fatal(err)
	}
	bad := p.Degrading()[0].Lead
	scatter := func(pick func(measure.Sample) float64) float64 {
		var n, sum, squares float64
		for i := range 2000 { // 500 s: the copper stands still
			v := pick(p.SampleAt(0, start.Add(time.Duration(i)*250*time.Millisecond)))
			n, sum, squares = n+1, sum+v, squares+v*v
		}
		return math.Sqrt(squares/n - sum*sum/n/n)
	}
	for _, lead := range measure.LeadsOf(3) {
		want := 0.0005 // noise and the 1 mΩ step: √(0.4² + 1²/12) mΩ
		if lead == bad {
			want = 0.02 * 0.24 // 0.24 Ω at the end of the story
		}
		if got := scatter(func(s measure.Sample) float64 { return float64(s.Leads[lead]) }); math.Abs(got-want) > 0.15*want {
			t.Errorf("%s scatters by %.2f mΩ, want %.2f", lead, 1000*got, 1000*want)
		}
	}
	if got := scatter(func(s measure.Sample) float64 { return float64(s.Reading) }); got < 0.009 {
		t.Errorf("the reading scatters by %.4f K; 4.8 mΩ do 0.012 K", got)
	}
}

func TestGaussIsNearlyNormal(t *testing.T) {
	const n = 200_000
	var sum, squares, biggest float64
	for i := range uint64(n) {
		x := gauss(7, i, chSensor)
		sum += x
		squares += x * x
		biggest = max(biggest, math.Abs(x))
	}
	mean, variance := sum/n, squares/n-sum*sum/n/n
	// Standard errors: 0.0022 of the mean; of the variance √((κ−1)/n) with
	// κ = 2.7 (four uniforms): 0.0029.
	if math.Abs(mean) > 0.009 || math.Abs(variance-1) > 0.012 {
		t.Errorf("mean %.4f, variance %.4f; want 0 and 1", mean, variance)
	}
	var product float64
	for i := range uint64(n) {
		product += gauss(7, i, chSensor) * gauss(8, i, chSensor)
	}
	if r := product / n; math.Abs(r) > 0.01 { // standard error 0.0022
		t.Errorf("the noise of two loops has correlation %.4f", r)
	}
	if biggest > 2*sqrt3 {
		t.Errorf("a value at %.3f, beyond ±2√3", biggest)
	}
}
