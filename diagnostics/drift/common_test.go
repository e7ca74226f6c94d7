package drift

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// siteOf returns a plant of n loops in each of some boxes, tags in order.
func siteOf(t testing.TB, n, boxes int) *Site {
	t.Helper()
	var loops []*diagnostics.Spec
	for i := range n * boxes {
		s := testSpec(t, fmt.Sprintf("TT-%d", 3101+i), wiring.ThreeWireDual, wiring.AllLeads)
		s.Box = fmt.Sprintf("JB-%d", 1+i/n)
		loops = append(loops, s)
	}
	return NewSite(loops)
}

// wornAt is a loop whose contact went bad at a number of days.
func wornAt(days float64) Published {
	return Published{
		Factor: 1, Kind: finding.LeadDrift, Leads: finding.LeadsOf(measure.B1),
		Since: testStart.Add(time.Duration(days * 24 * float64(time.Hour))), Contact: quantity.Ohm(0.02 + days/1000), Share: 0.4,
	}
}

var sound = Published{Factor: 1}

// prior is the rate of a plant of which nothing is known.
const prior = float64(priorFaults) / (priorYears * yearS)

// q is a binomial tail. By hand for n = 3, k = 2, p = 1 − e^(−0.1·w): with w =
// 0.1 years p = 0.00995017, q = 1 − (1 − p)² = 0.01980133.
func TestChance(t *testing.T) {
	tests := []struct {
		n, k  int
		years float64
		want  float64
	}{
		{3, 2, 0.1, 0.0198013},
		{2, 2, 0.1, 0.0099502},  // p itself
		{6, 3, 0.1, 0.00097047}, // 1 − (1−p)^5 − 5p(1−p)^4 = 1 − 0.951229 − 0.047800 by calculator
		{4, 4, 0.1, 9.8512e-7},  // p³
	}
	for _, test := range tests {
		got := chance(prior, test.n, test.k, int64(test.years*yearS))
		if math.Abs(got/test.want-1) > 2e-4 {
			t.Errorf("chance(%d, %d, %g years) = %.7g, want %.7g", test.n, test.k, test.years, got, test.want)
		}
	}
	if a, b := chance(prior, 6, 2, 0), chance(prior, 6, 2, onsetS); a != b {
		t.Errorf("onsets are known to two days: chance 0 s %g, 2 days %g", a, b)
	}
	if got := chance(prior, 5, 1, 0); math.Abs(got-1) > 1e-12 {
		t.Errorf("the one that went bad went bad: chance %g, want 1", got)
	}
}

// Where loops go bad often, several of one box are no wonder.
func TestRateIsLearnt(t *testing.T) {
	s := siteOf(t, 6, 10)
	day := func(d int) time.Time { return testStart.Add(time.Duration(d) * 24 * time.Hour) }
	for i := range s.loops {
		s.Put(i, sound)
	}
	for i := range 6 {
		s.Put(54+i, Published{Factor: nan}) // loops that cannot be seen tell nothing
	}
	for d := range 365 {
		if i := d / 9; d%9 == 0 { // 41 single faults, one every nine days, each in another box than the last, mended after five
			s.Put(i*7%54, wornAt(float64(d)))
		} else if d%9 == 5 {
			s.Put(i*7%54, sound)
		}
		if out := s.Mark(day(d), nil); len(out) > 0 {
			t.Fatalf("day %d: %s", d, printed(out)[0])
		}
	}
	if got, want := s.rate(0)*yearS, (1+41)/(10+54*364/365.25); math.Abs(got-want) > 0.02 {
		t.Errorf("rate %.3f a loop-year, want %.3f", got, want)
	}
	three := func(s *Site) int {
		for i, d := range []float64{370, 380, 390} {
			s.Put(54+i, wornAt(d))
		}
		return len(s.Mark(day(395), nil))
	}
	if n := three(s); n != 0 {
		t.Error("three of six within twenty days are called a common cause where chance does that")
	}
	fresh := siteOf(t, 6, 10)
	if n := three(fresh); n != 1 {
		t.Error("three of six within twenty days are no common cause in a plant of which nothing is known")
	}
	if got := fresh.rate(0) * yearS; math.Abs(got-2.0/10) > 0.02 {
		t.Errorf("one common cause of three counts as %.2f faults a loop-year, want one in about ten loop-years more", got)
	}
}

func TestRarely(t *testing.T) {
	for q, want := range map[float64]string{0.5: "2", 0.004737: "210", 0.0011: "910", 3e-5: "33000", 1e-9: "over a million"} {
		if got := rarely(q); got != want {
			t.Errorf("rarely(%g) = %q, want %q", q, got, want)
		}
	}
}

func TestTogether(t *testing.T) {
	tests := []struct {
		name   string
		loops  int
		onsets []float64 // days; NaN = sound
		want   []int
	}{
		{"all sound", 6, nil, nil},
		{"one", 6, []float64{3}, nil},
		{"two of five within two days", 5, []float64{3, 5}, []int{0, 1}},
		{"two of six within two days", 6, []float64{3, 5}, nil},
		{"two of four a week apart", 4, []float64{3, 10}, nil},
		{"two of two a week apart", 2, []float64{3, 10}, []int{0, 1}},
		{"three of six within three weeks", 6, []float64{3, 10, 23}, []int{0, 1, 2}},
		{"three of six, each two months after the last", 6, []float64{3, 63, 123}, nil},
		{"three of three over four weeks", 3, []float64{3, 20, 31}, nil}, // unlikely by chance, too slow for one cause
		{"two of twenty at once", 20, []float64{3, 3}, nil},
		{"three of twenty at once", 20, []float64{3, 3, 4}, []int{0, 1, 2}},
		{"an old fault is not dragged in", 6, []float64{3, 100, 101, 103}, []int{1, 2, 3}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			s := siteOf(t, test.loops, 1)
			for i := range test.loops {
				s.Put(i, sound)
			}
			for i, d := range test.onsets {
				s.Put(i, wornAt(d))
			}
			out := s.Mark(testStart.Add(200*24*time.Hour), nil)
			if test.want == nil {
				if len(out) != 0 {
					t.Fatalf("got %v, want nothing", printed(out))
				}
				return
			}
			if len(out) != 1 {
				t.Fatalf("got %d findings, want 1", len(out))
			}
			f := out[0]
			var want []string
			for _, i := range test.want {
				want = append(want, s.loops[i].Tag)
			}
			if d := cmp.Diff(want, f.Loops); d != "" {
				t.Errorf("members:\n%s", d)
			}
			if f.Loop != want[0] || f.Box != "JB-1" || f.Kind != finding.BoxCommonCause || f.Severity != finding.Maintenance || f.Confidence < 0.95 || f.Confidence >= 1 {
				t.Errorf("got %s", printed(out)[0])
			}
			if since := wornAt(test.onsets[test.want[0]]).Since; !f.Since.Equal(since) {
				t.Errorf("since %v, want the first onset %v", f.Since, since)
			}
			if !strings.Contains(f.Evidence, fmt.Sprintf("%d of %d loops of junction box JB-1", len(want), test.loops)) {
				t.Errorf("evidence %q", f.Evidence)
			}
		})
	}
}

func TestCommonCauseLives(t *testing.T) {
	s := siteOf(t, 5, 2)
	day := func(d float64) time.Time { return testStart.Add(time.Duration(d * 24 * float64(time.Hour))) }
	for i := range s.loops {
		s.Put(i, sound)
	}
	mark := func(d float64) string {
		var b strings.Builder
		for _, f := range s.Mark(day(d), nil) {
			fmt.Fprintf(&b, "%s %s %s;", f.State, f.Loop, strings.Join(f.Loops, " "))
		}
		return b.String()
	}
	s.Put(2, wornAt(9))
	s.Put(4, wornAt(8))
	steps := []struct {
		day  float64
		do   func()
		want string
	}{
		{20, func() {}, "raised TT-3105 TT-3103 TT-3105;"},
		{20.1, func() {}, ""},
		{20.2, func() { s.Put(0, wornAt(19)) }, ""}, // joins; spoken at most once a day
		{21, func() {}, "updated TT-3105 TT-3101 TT-3103 TT-3105;"},
		{22, func() { s.Put(8, wornAt(9)) }, ""},   // another box
		{40, func() { s.Put(4, sound) }, ""},       // the first recovers, two are left
		{41, func() { s.Put(1, wornAt(130)) }, ""}, // months later: another matter
		{60, func() { s.Put(2, sound) }, ""},
		{66, func() { s.Put(2, wornAt(9)) }, ""}, // a dry spell only
		{70, func() { s.Put(2, sound) }, ""},
		{76.9, func() {}, ""},
		{77, func() {}, "cleared TT-3105 TT-3101 TT-3103 TT-3105;"}, // told to all who were named
		{78, func() {}, ""},
	}
	for _, step := range steps {
		step.do()
		if got := mark(step.day); got != step.want {
			t.Errorf("day %g: got %q, want %q", step.day, got, step.want)
		}
	}
}

// A cause takes the name of what all its members share and nothing wider: one
// loop each in three boxes of one cabinet is the cabinet.
func TestNarrowestPlaceIsNamed(t *testing.T) {
	s := siteOf(t, 3, 4)
	for i, l := range s.loops {
		l.Cabinet = "MC-1"
		if i%3 == 0 {
			l.Cable = "W-7"
		}
	}
	s = NewSite(s.loops)
	put := func(bad ...int) []finding.Finding {
		s := NewSite(s.loops)
		for i := range s.loops {
			s.Put(i, sound)
		}
		for _, i := range bad {
			s.Put(i, wornAt(5))
		}
		return s.Mark(testStart.Add(30*24*time.Hour), nil)
	}
	for _, test := range []struct {
		bad  []int
		want string
	}{
		{[]int{3, 4, 5}, "junction box JB-2"},
		{[]int{0, 3, 6}, "cable W-7"},
		{[]int{1, 4, 8}, "marshalling cabinet MC-1"},
	} {
		out := put(test.bad...)
		if len(out) != 1 || !strings.Contains(out[0].Evidence, test.want) || len(out[0].Loops) != 3 {
			t.Errorf("bad %v: got %v, want one finding of three loops at %s", test.bad, printed(out), test.want)
		}
	}
}

// The answer depends on what was put, not on the order of puts or of loops, and
// names no sound loop and no loop twice.
func TestCommonCauseOrder(tb *testing.T) {
	rapid.Check(tb, func(t *rapid.T) {
		n, boxes := rapid.IntRange(1, 7).Draw(t, "loops"), rapid.IntRange(1, 3).Draw(t, "boxes")
		total := n * boxes
		put := make([]Published, total)
		for i := range put {
			put[i] = sound
			if rapid.IntRange(0, 2).Draw(t, "bad") == 0 {
				put[i] = wornAt(float64(rapid.IntRange(0, 80).Draw(t, "onset")))
			}
		}
		order := rapid.Permutation(seq(total)).Draw(t, "order of loops")
		puts := rapid.Permutation(seq(total)).Draw(t, "order of puts")
		a := siteOf(tb, n, boxes)
		var loops []*diagnostics.Spec
		for _, i := range order {
			loops = append(loops, a.loops[i])
		}
		b := NewSite(loops)
		at := testStart.Add(100 * 24 * time.Hour)
		for i, p := range put {
			a.Put(i, p)
		}
		for _, i := range puts {
			b.Put(i, put[order[i]])
		}
		x, y := a.Mark(at, nil), b.Mark(at, nil)
		if d := cmp.Diff(printed(x), printed(y)); d != "" {
			t.Fatalf("another order, another answer:\n%s", d)
		}
		seen := map[string]bool{}
		for _, f := range x {
			if len(f.Loops) < leastLoops || !slices.IsSorted(f.Loops) || !slices.Contains(f.Loops, f.Loop) {
				t.Fatalf("members %v of %s", f.Loops, f.Loop)
			}
			for _, tag := range f.Loops {
				i := slices.IndexFunc(a.loops, func(l *diagnostics.Spec) bool { return l.Tag == tag })
				if put[i].Kind == "" || a.loops[i].Box != f.Box || seen[tag] {
					t.Fatalf("%s of %s in a finding about %s: bad %v, seen before %v", tag, a.loops[i].Box, f.Box, put[i].Kind != "", seen[tag])
				}
				seen[tag] = true
			}
		}
	})
}

func seq(n int) []int {
	s := make([]int, n)
	for i := range s {
		s[i] = i
	}
	return s
}

func TestMarkAllocatesNothingWhileAllIsSound(t *testing.T) {
	s := siteOf(t, 6, 10)
	for i := range s.loops {
		s.Put(i, sound)
	}
	at := testStart
	if n := testing.AllocsPerRun(100, func() { at = at.Add(Mark); s.Mark(at, nil) }); n > 0 {
		t.Errorf("%g allocations a mark, want 0", n)
	}
}

// A step comes by work or a blow, what gets into a box works slowly: the one says
// nothing of the other. Steps of one day are one matter; those that grow are like others.
func TestStepsAreJoinedWithSteps(t *testing.T) {
	stepped := func(days float64) Published {
		p := wornAt(days)
		p.Kind = finding.LeadStep
		return p
	}
	for _, tt := range []struct {
		name string
		puts []Published
		want int // loops told together
	}{
		{"a step among three that grow", []Published{stepped(3), wornAt(3), wornAt(5), wornAt(6)}, 3},
		{"a step and one that grows", []Published{stepped(3), wornAt(3)}, 0},
		{"two steps of one day", []Published{stepped(3), stepped(3.5)}, 2},
		{"two steps of two days", []Published{stepped(3), stepped(5)}, 0},
		{"two steps among two that grow: the less likely is told", []Published{stepped(3), stepped(3.5), wornAt(3), wornAt(3.1), wornAt(3.2)}, 3},
	} {
		s := siteOf(t, 5, 1)
		for i := range 5 {
			s.Put(i, sound)
		}
		for i, p := range tt.puts {
			s.Put(i, p)
		}
		out := s.Mark(testStart.Add(20*24*time.Hour), nil)
		got := 0
		if len(out) > 0 {
			got = len(out[0].Loops)
		}
		if got != tt.want || len(out) > 1 {
			t.Errorf("%s: %v, want %d loops together", tt.name, printed(out), tt.want)
		}
	}
	s := siteOf(t, 5, 1)
	for i := range 5 {
		s.Put(i, sound)
	}
	s.Put(0, stepped(3))
	s.Put(1, stepped(3.5))
	day := func(d int) time.Time { return testStart.Add(time.Duration(d) * 24 * time.Hour) }
	if out := s.Mark(day(4), nil); len(out) != 1 {
		t.Fatalf("two steps of one day: %v", printed(out))
	}
	s.Put(2, wornAt(4))
	if out := s.Mark(day(6), nil); len(out) != 0 {
		t.Errorf("one that grows has joined two that stepped: %v", printed(out))
	}
	s.Put(0, wornAt(3))
	s.Put(1, wornAt(3.5))
	if out := s.Mark(day(8), nil); len(out) != 1 || len(out[0].Loops) != 3 {
		t.Errorf("the steps grow as the third does: %v, want three together", printed(out))
	}
}

// What rests begins no common cause, but stays with the one that it is part of; steps
// that recover leave a cause of steps.
func TestWhatRestsBeginsNoCommonCause(t *testing.T) {
	resting := func(days float64) Published {
		p := wornAt(days)
		p.Rests = true
		return p
	}
	day := func(d int) time.Time { return testStart.Add(time.Duration(d) * 24 * time.Hour) }
	s := siteOf(t, 5, 1)
	for i := range 5 {
		s.Put(i, sound)
	}
	s.Put(0, resting(3))
	s.Put(1, resting(4))
	if out := s.Mark(day(20), nil); len(out) != 0 {
		t.Errorf("two that rest: %v", printed(out))
	}
	s.Put(0, wornAt(3))
	s.Put(1, wornAt(4))
	if out := s.Mark(day(21), nil); len(out) != 1 {
		t.Fatalf("two that grow: %v", printed(out))
	}
	s.Put(0, resting(3))
	s.Put(1, resting(4))
	if out := s.Mark(day(40), nil); len(out) != 0 {
		t.Errorf("their contacts stand as high as they did, and yet: %v", printed(out))
	}
	stepped := wornAt(3)
	stepped.Kind = finding.LeadStep
	s = siteOf(t, 5, 1)
	for i := range 5 {
		s.Put(i, sound)
	}
	s.Put(0, stepped)
	s.Put(1, stepped)
	s.Mark(day(4), nil)
	s.Put(0, sound)
	s.Put(1, sound)
	s.Put(2, wornAt(9))
	if out := s.Mark(day(10), nil); len(out) != 0 || slices.Contains(s.groups[0].common.Members, 2) {
		t.Errorf("one that grows joined steps that have recovered: %v", printed(out))
	}
}
