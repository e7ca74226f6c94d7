package drift

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"
	"unsafe"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// story draws a cable and a fault of a lead that its transmitter may or may not
// show.
func story(t *rapid.T) cable {
	c := newCable(rapid.Uint64().Draw(t, "seed"))
	lead := measure.Lead(rapid.IntRange(0, 3).Draw(t, "lead"))
	from := rapid.Float64Range(5, 20).Draw(t, "onset in days")
	switch rapid.IntRange(0, 5).Draw(t, "fault") {
	case 1:
		c.fault = growth(lead, from, 0.004)
	case 5:
		c.fault = growth(lead, from, -0.004)
	case 2:
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			if d > from {
				v[lead] += 0.05
			}
		}
	case 3:
		c.fault = func(d float64, v *[measure.LeadCount]float64) {
			if d > from && int(d*perDay)%29 == 0 {
				v[lead] += 0.2
			}
		}
	case 4:
		wet := rapid.Float64Range(1, 8).Draw(t, "e-fold in days")
		c.fault = hiss(func(d float64) float64 { return 0.001 * min(math.Exp((d-from)/wet), 20) })
	}
	return c
}

// ways are the connections that properties are tried on: each report level.
func ways() []way {
	return []way{
		{wiring.FourWire, wiring.AllLeads},
		{wiring.ThreeWireDual, wiring.AllLeads},
		{wiring.ThreeWireHalf, wiring.PairsOnly},
		{wiring.FourWire, wiring.LoopsOnly},
		{wiring.TwoWire, wiring.ReadingOnly},
	}
}

type way struct {
	method  wiring.Method
	reports wiring.Reports
}

// spoil turns a sample into what registers also show: nothing, NaN, numbers no
// lead can have, bad quality, an older time.
func spoil(t *rapid.T, s measure.Sample) measure.Sample {
	lead := rapid.IntRange(0, 3).Draw(t, "register")
	switch rapid.IntRange(0, 6).Draw(t, "spoilt by") {
	case 0:
		return measure.Empty(s.At, measure.Good)
	case 1:
		s.Leads[lead] = quantity.Ohm(math.NaN())
	case 2:
		s.Leads[lead] = quantity.Ohm(rapid.Float64().Draw(t, "Ω"))
	case 3:
		s.Leads[lead] = quantity.Ohm(math.Inf(1 - 2*(lead&1)))
	case 4:
		s.Sensor, s.LoopB = quantity.Ohm(rapid.Float64().Draw(t, "sensor Ω")), quantity.Ohm(math.NaN())
	case 5:
		s.Quality = measure.Quality(rapid.IntRange(0, 9).Draw(t, "quality"))
	case 6:
		s.At = s.At.Add(-time.Duration(rapid.IntRange(1, 10000).Draw(t, "late by s")) * time.Second)
	}
	return s
}

// recording draws the samples of some days, with bad ones and gaps in between.
func recording(t *rapid.T, e *Engine, c cable, days int) []measure.Sample {
	all := make([]measure.Sample, 0, days*perDay)
	for i := range days * perDay {
		all = append(all, c.at(e.m.spec, i))
	}
	for range rapid.IntRange(0, 30).Draw(t, "bad samples") {
		i := rapid.IntRange(0, len(all)-1).Draw(t, "place")
		all[i] = spoil(t, all[i])
	}
	for range rapid.IntRange(0, 2).Draw(t, "gaps") {
		if len(all) < 2 {
			break
		}
		i := rapid.IntRange(0, len(all)-2).Draw(t, "gap at")
		n := rapid.IntRange(1, 2*perDay).Draw(t, "gap of")
		all = slices.Delete(all, i, min(i+n, len(all)-1))
	}
	return all
}

// A restart changes no later result: at any cut, with whatever came before, the
// restored engine finds the same and is in the same state in the end.
func TestHalvesThroughASnapshotEqualOne(tb *testing.T) {
	rapid.Check(tb, func(t *rapid.T) {
		w := rapid.SampledFrom(ways()).Draw(t, "way")
		e := mustEngine(tb, testSpec(tb, "TT-1", w.method, w.reports))
		all := recording(t, e, story(t), rapid.IntRange(1, 40).Draw(t, "days"))
		cut := rapid.IntRange(0, len(all)).Draw(t, "cut")
		nb := Neighbour{Loops: rapid.IntRange(0, 3).Draw(t, "neighbours")}
		step := func(e *Engine, part []measure.Sample) (out []finding.Finding) {
			for i := range part {
				nb.Factor = 0.97 * copperOn(part[i].At.Sub(testStart).Hours()/24)
				out = e.Step(&part[i], &nb, out)
			}
			return out
		}
		step(e, all[:cut])
		r := mustEngine(tb, e.m.spec)
		if err := r.Restore(e.Snapshot(nil)); err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(printed(step(e, all[cut:])), printed(step(r, all[cut:]))); d != "" {
			t.Fatalf("findings after the restart differ:\n%s", d)
		}
		var v, u View
		e.Explain(&v)
		r.Explain(&u)
		if d := cmp.Diff(fmt.Sprintf("%+v", v), fmt.Sprintf("%+v", u)); d != "" {
			t.Fatalf("views differ:\n%s", d)
		}
		if a, b := e.Snapshot(nil), r.Snapshot(nil); !slices.Equal(a, b) {
			t.Fatal("states differ in the end")
		}
	})
}

// A gap says nothing: however long it is, a sound loop that continues as it was,
// in another season perhaps, raises nothing in the month after, in which whatever it left
// behind would come up.
func TestGapRaisesNothing(tb *testing.T) {
	rapid.Check(tb, func(t *rapid.T) {
		w := rapid.SampledFrom(ways()).Draw(t, "way")
		c := newCable(rapid.Uint64().Draw(t, "seed"))
		c.season = year(rapid.Float64Range(-0.08, 0.08).Draw(t, "season"))
		before := rapid.IntRange(0, 40*perDay).Draw(t, "samples before")
		gap := rapid.IntRange(1, 400*perDay).Draw(t, "samples missing")
		e := mustEngine(tb, testSpec(tb, "TT-1", w.method, w.reports))
		out := c.feed(e, 0, before)
		out = append(out, c.feed(e, before+gap, before+gap+30*perDay)...)
		if len(bad(out)) > 0 {
			t.Fatalf("a gap of %.1f days: %v", float64(gap)/perDay, printed(bad(out)))
		}
	})
}

// Silence in any form (no answer, empty registers, bad quality) is no finding
// about leads either.
func TestSilenceRaisesNothing(tb *testing.T) {
	rapid.Check(tb, func(t *rapid.T) {
		c := newCable(rapid.Uint64().Draw(t, "seed"))
		e := mustEngine(tb, testSpec(tb, "TT-1", wiring.FourWire, wiring.AllLeads))
		n := rapid.IntRange(0, 30*perDay).Draw(t, "samples before")
		out := c.feed(e, 0, n)
		q := measure.Quality(rapid.IntRange(int(measure.Good), int(measure.Skewed)).Draw(t, "quality"))
		for i := range 20 * perDay {
			s := measure.Empty(testStart.Add(time.Duration(n+i)*c.step), q)
			out = e.Step(&s, nil, out)
		}
		out = append(out, c.feed(e, n+20*perDay, n+25*perDay)...)
		if len(bad(out)) > 0 {
			t.Fatalf("silence of quality %v: %v", q, printed(bad(out)))
		}
	})
}

// Values of a sample that is no good (old, frozen, of different moments, of a
// register map that is wrong) are not computed with, however wild they are.
func TestBadQualityIsNotComputedWith(tb *testing.T) {
	rapid.Check(tb, func(t *rapid.T) {
		w := rapid.SampledFrom(ways()).Draw(t, "way")
		c := newCable(rapid.Uint64().Draw(t, "seed"))
		q := rapid.SampledFrom([]measure.Quality{measure.Stale, measure.Comms, measure.Configuration, measure.Frozen, measure.Skewed}).Draw(t, "quality")
		times := rapid.Float64Range(0.1, 10).Draw(t, "times")
		e := mustEngine(tb, testSpec(tb, "TT-1", w.method, w.reports))
		out := c.feed(e, 0, 10*perDay+1) // the last one closes a block
		var was, is View
		e.Explain(&was)
		for i := 10*perDay + 1; i < 13*perDay; i++ {
			s := c.at(e.m.spec, i)
			for k := range s.Leads {
				s.Leads[k] *= quantity.Ohm(times)
			}
			s.LoopA, s.LoopB, s.Quality = s.LoopA*quantity.Ohm(times), s.LoopB*2, q
			out = e.Step(&s, nil, out)
		}
		e.Explain(&is)
		if len(bad(out)) > 0 || fmt.Sprint(was.Contact, was.Factor) != fmt.Sprint(is.Contact, is.Factor) {
			t.Fatalf("quality %v changed %v %v to %v %v, found %v", q, was.Contact, was.Factor, is.Contact, is.Factor, printed(bad(out)))
		}
	})
}

// One factor on all leads, whatever its course within what weather does, is
// copper: it changes the contact part of no lead. Leads of a sound cable in the
// same proportion make every residual zero but for arithmetic on 32 bits.
func TestCommonFactorChangesNoContact(tb *testing.T) {
	rapid.Check(tb, func(t *rapid.T) {
		w := rapid.SampledFrom(ways()[:3]).Draw(t, "way")
		spec := testSpec(tb, "TT-1", w.method, w.reports)
		spec.LimitHigh, spec.LimitLow = quantity.DeltaC(nan), quantity.DeltaC(nan) // unequal leads may pass a limit when warm
		swing := rapid.Float64Range(0, 0.06).Draw(t, "daily swing")
		season := rapid.Float64Range(-0.1, 0.1).Draw(t, "season")
		c := newCable(0)
		length := rapid.Float64Range(0.1, 5).Draw(t, "lead Ω")
		for k := range c.lead { // a tenth apart: one that is much shorter has a jumper in its place
			c.lead[k] = length * rapid.Float64Range(0.95, 1.05).Draw(t, "share")
		}
		e := mustEngine(tb, spec)
		var out []finding.Finding
		for i := range 30 * perDay {
			d := float64(i) / perDay
			f := 1 + swing*math.Sin(2*math.Pi*d) + season*d/30
			v := c.lead
			for k := range v {
				v[k] *= f
			}
			s := sampleOf(spec, testStart.Add(time.Duration(i)*c.step), v, 119.4)
			out = e.Step(&s, nil, out)
		}
		if len(bad(out)) > 0 {
			t.Fatalf("copper alone: %v", printed(bad(out)))
		}
		var v View
		e.Explain(&v)
		for k, x := range v.Contact {
			if most := 2e-6 * c.lead[k]; math.Abs(float64(x)) > most { // float32 keeps 6e-8 of each slot
				t.Errorf("contact part of %s is %g Ω, want 0 within %g", measure.Lead(k), x, most)
			}
		}
		if now := 1 + season; math.Abs(v.Factor-now) > 2*swing+0.01 { // it counts from the first block, which has a swing of its own
			t.Errorf("copper factor %g, want about %g", v.Factor, now)
		}
		if f := e.Estimate().CopperFactor; math.Abs(f-v.Factor) > 2*swing+0.01 {
			t.Errorf("estimated copper factor %g, that of the block is %g", f, v.Factor)
		}
	})
}

// The copper of the cable is no part of a contact: one that grows in a lead is
// the same whatever the weather does, and the sound leads beside it stay sound.
func TestWeatherChangesNoContact(tb *testing.T) {
	rapid.Check(tb, func(t *rapid.T) {
		w := rapid.SampledFrom(ways()[:2]).Draw(t, "way")
		spec := testSpec(tb, "TT-1", w.method, w.reports)
		lead := rapid.SampledFrom([]measure.Lead{measure.A1, measure.B1, measure.B2}).Draw(t, "lead")
		slope := rapid.Float64Range(0.001, 0.01).Draw(t, "Ω a day")
		swing := rapid.Float64Range(0, 0.06).Draw(t, "daily swing")
		season := rapid.Float64Range(-0.1, 0.1).Draw(t, "season")
		length := rapid.Float64Range(0.2, 5).Draw(t, "lead Ω")
		var v, calm View
		for _, x := range []*View{&v, &calm} {
			e := mustEngine(tb, spec)
			for i := range 40 * perDay {
				d := float64(i) / perDay
				f := 1.0
				if x == &v {
					f += swing*math.Sin(2*math.Pi*d) + season*d/40
				}
				r := [measure.LeadCount]float64{length * f, length * 1.01 * f, length * 0.98 * f, length * 1.02 * f}
				r[lead] += slope * max(0, d-25)
				s := sampleOf(spec, testStart.Add(time.Duration(i)*10*time.Minute), r, 119.4)
				e.Step(&s, nil, nil)
			}
			e.Explain(x)
		}
		want := slope * (40 - 25 - 0.125 - 1.0/perDay) // in the middle of the newest block that is closed
		for k := range v.Contact {
			u, c := float64(v.Contact[k]), float64(calm.Contact[k])
			most := 2e-5 * length // float32, and what the first lead leaves in the copper
			if k == int(lead) {   // until it is noticed, what grows is learnt as the lead's own, with the weather of those days
				most = float64(v.Threshold[k])
			}
			if math.IsNaN(u) != math.IsNaN(c) || math.Abs(u-c) > most {
				t.Errorf("contact part of %s is %g Ω in this weather, %g without", measure.Lead(k), u, c)
			}
		}
		if got := float64(v.Contact[lead]); math.Abs(got-want) > slope/4+float64(v.Threshold[lead]) {
			t.Errorf("contact part of %s is %g Ω, want %g", lead, got, want)
		}
	})
}

// permutable are loops that treat their leads alike: a four-wire connection, and
// a three-wire one without a limit whose sensor values are the element's alone.
func permutable(tb testing.TB) []*diagnostics.Spec {
	three := testSpec(tb, "TT-1", wiring.ThreeWireDual, wiring.AllLeads)
	three.LimitHigh, three.LimitLow, three.SensorIs = quantity.DeltaC(nan), quantity.DeltaC(nan), wiring.ElementOnly
	return []*diagnostics.Spec{testSpec(tb, "TT-1", wiring.FourWire, wiring.AllLeads), three}
}

// Where leads are alike, whoever is called a1: the same course is found with the
// same kind, onset and size.
func TestPermutedLeadsPermuteTheAnswer(tb *testing.T) {
	rapid.Check(tb, func(t *rapid.T) {
		spec := rapid.SampledFrom(permutable(tb)).Draw(t, "spec")
		c := story(t)
		leads := spec.Leads()
		to := [measure.LeadCount]measure.Lead{0, 1, 2, 3}
		for i, l := range rapid.Permutation(slices.Clone(leads)).Draw(t, "leads become") {
			to[leads[i]] = l
		}
		a, b := mustEngine(tb, spec), mustEngine(tb, spec)
		var x, y []finding.Finding
		for i := range 28 * perDay {
			s := c.at(spec, i)
			s.Sensor = quantity.Ohm(119.4 + 0.02*math.Sin(float64(i)/900)) // the element alone
			s.Reading = spec.Sensor.Inverse(s.Sensor, 0)
			x = a.Step(&s, nil, x)
			r := s
			for k, l := range to {
				r.Leads[l] = s.Leads[k]
			}
			y = b.Step(&r, nil, y)
		}
		if len(x) != len(y) {
			t.Fatalf("%d findings, permuted %d:\n%v\n%v", len(x), len(y), printed(x), printed(y))
		}
		for i := range x {
			want := finding.LeadSet(0)
			for k, l := range to {
				if x[i].Leads.Has(measure.Lead(k)) {
					want |= finding.LeadsOf(l)
				}
			}
			f := y[i]
			if f.Kind != x[i].Kind || f.Leads != want || f.State != x[i].State || !f.Time.Equal(x[i].Time) || !f.Since.Equal(x[i].Since) || !near(float64(f.Contact), float64(x[i].Contact)) {
				t.Fatalf("finding %d is\n%s\npermuted by %v\n%s", i, printed(x[i : i+1])[0], to, printed(y[i : i+1])[0])
			}
		}
		var v, u View
		a.Explain(&v)
		b.Explain(&u)
		for _, k := range leads {
			l := to[k]
			if !near(float64(v.Contact[k]), float64(u.Contact[l])) || !near(float64(v.Level[k]), float64(u.Level[l])) {
				t.Fatalf("lead %s: contact %v level %v; as lead %s: %v %v", k, v.Contact[k], v.Level[k], l, u.Contact[l], u.Level[l])
			}
		}
	})
}

// near compares Ω: sums in another order differ in the last digits.
func near(a, b float64) bool {
	return math.Abs(a-b) < 1e-7 || math.IsNaN(a) && math.IsNaN(b)
}

// Stepping, publishing and explaining allocate nothing while nothing is found.
func TestStepAllocatesNothing(t *testing.T) {
	for _, w := range ways() {
		t.Run(fmt.Sprintf("%s/%s", w.method, w.reports), func(t *testing.T) {
			e := mustEngine(t, testSpec(t, "TT-1", w.method, w.reports))
			c := newCable(5)
			i := 30 * perDay
			c.feed(e, 0, i)
			samples := make([]measure.Sample, 0, 5*perDay)
			for j := range cap(samples) {
				samples = append(samples, c.at(e.m.spec, i+j))
			}
			out := make([]finding.Finding, 0, 1)
			nb := &Neighbour{Loops: 2, Factor: 1}
			v := View{Standing: make([]finding.Kind, 0, topics)}
			j := 0
			n := testing.AllocsPerRun(len(samples)-1, func() {
				out = e.Step(&samples[j], nb, out[:0])
				e.Publish()
				e.Explain(&v)
				e.Estimate()
				j++
			})
			if n > 0 || len(out) > 0 {
				t.Errorf("%g allocations a sample, %d findings; want none", n, len(out))
			}
		})
	}
}

func TestEngineFitsFourKiB(t *testing.T) {
	n := unsafe.Sizeof(Engine{})
	t.Logf("an engine takes %d bytes", n)
	if n > 4096 {
		t.Errorf("an engine takes %d bytes, want at most 4096", n)
	}
}
