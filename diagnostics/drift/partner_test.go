package drift

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// sensorAt is one of the loops of a place.
type sensorAt struct {
	way
	fault   func(d float64, v *[measure.LeadCount]float64)
	process func(d float64) float64 // °C, of this element
}

// fiftyOne is a process that stands at about 51 °C.
func fiftyOne(d float64) float64 { return 51 + 0.1*math.Sin(2*math.Pi*d/2.3) }

// samePlace is loops that name the first as their partner.
type samePlace struct {
	loops   []*diagnostics.Spec
	engines []*Engine
	cables  []cable
	site    *Site
}

func together(t testing.TB, sensors ...sensorAt) *samePlace {
	p := &samePlace{}
	for i, x := range sensors {
		s := testSpec(t, "TT-"+string(rune('A'+i)), x.method, x.reports)
		if i > 0 {
			s.Partner = "TT-A"
		}
		c := newCable(uint64(40 + i))
		c.fault, c.process = x.fault, x.process
		if c.process == nil {
			c.process = fiftyOne
		}
		p.loops, p.engines, p.cables = append(p.loops, s), append(p.engines, mustEngine(t, s)), append(p.cables, c)
	}
	p.site = NewSite(p.loops)
	return p
}

// run steps the loops from one day to another, mark by mark, and returns what is
// said about partners.
func (p *samePlace) run(from, to int) []finding.Finding { return p.runWithout(-1, from, to) }

// runWithout does so with one loop of which nothing comes.
func (p *samePlace) runWithout(gone, from, to int) []finding.Finding {
	var out []finding.Finding
	for i := from * perDay; i < to*perDay; i++ {
		for k, e := range p.engines {
			p.site.Put(k, e.Publish())
		}
		out = p.site.Mark(testStart.Add(time.Duration(i)*Mark), out)
		for k, e := range p.engines {
			if k == gone {
				continue
			}
			s := p.cables[k].at(p.loops[k], i)
			e.Step(&s, p.site.Neighbour(k), nil)
		}
	}
	return slices.DeleteFunc(out, func(f finding.Finding) bool { return f.Kind != finding.SensorDrift })
}

func dayOf(f *finding.Finding) float64 { return f.Time.Sub(testStart).Hours() / 24 }

var (
	pairsWay   = way{wiring.ThreeWireHalf, wiring.PairsOnly}
	readingWay = way{wiring.TwoWire, wiring.ReadingOnly}
	seenWay    = way{wiring.ThreeWireDual, wiring.AllLeads}
)

// Lead a1 of a transmitter that reports pairs grows by 10 mΩ a day from day 40:
// with coefficient +1/2 of the method it cannot be seen there, and its partner,
// whose leads are seen, tells. The reading moves by the coefficient times 10 mΩ
// over 0.38 Ω/K; 0.15 °C (0.3 of the limit) make a finding, 0.5 °C a matter of
// maintenance.
func TestPartnerShowsAHiddenLead(t *testing.T) {
	p := together(t, sensorAt{way: pairsWay, fault: growth(measure.A1, 40, 0.01)}, sensorAt{way: seenWay})
	out := p.run(0, 110)
	if len(out) == 0 {
		t.Fatal("nothing is said")
	}
	perDay := 0.01 * wiring.Coefficients(pairsWay.method)[measure.A1] / 0.379 // °C a day; Pt100 at 51 °C, IEC 60751: 0.3791 Ω/K
	for i := range out {
		if out[i].Loop != "TT-A" {
			t.Errorf("%s on day %.1f: the leads of TT-B are seen, so TT-A has moved", out[i].Loop, dayOf(&out[i]))
		}
	}
	first := &out[0]
	if due := 40 + 0.15/perDay; first.Severity != finding.Info || dayOf(first) < due || dayOf(first) > due+3 {
		t.Errorf("first on day %.1f, %s: want info within three days of day %.1f", dayOf(first), first.Severity, due)
	}
	if !strings.Contains(first.Evidence, "TT-B") || !strings.Contains(first.Evidence, "a lead that is not reported") {
		t.Errorf("evidence: %s", first.Evidence)
	}
	i := slices.IndexFunc(out, func(f finding.Finding) bool { return f.Severity == finding.Maintenance })
	if due := 40 + 0.5/perDay; i < 0 || dayOf(&out[i]) < due || dayOf(&out[i]) > due+3 {
		t.Fatalf("maintenance: %d of %d, want it within three days of day %.1f", i, len(out), due)
	}
	if !math.IsNaN(float64(out[i].Error)) || !strings.Contains(out[i].Evidence, "or the element of TT-B") {
		t.Errorf("error %v, evidence %s: the element of TT-B may have moved as well", out[i].Error, out[i].Evidence)
	}
}

// Where both hide leads either can be the one.
func TestWhichOfTwoCannotBeTold(t *testing.T) {
	drifts := func(d float64) float64 { return fiftyOne(d) - 0.02*max(0, d-40) }
	for name, sensors := range map[string][]sensorAt{
		"both hide":    {{way: readingWay, process: drifts}, {way: readingWay}},
		"neither does": {{way: seenWay, process: drifts}, {way: seenWay}},
	} {
		out := together(t, sensors...).run(0, 70)
		var said []string
		for _, f := range out {
			if f.State == finding.Raised {
				said = append(said, f.Loop)
				if !strings.Contains(f.Evidence, "either may have moved") || !math.IsNaN(float64(f.Error)) {
					t.Errorf("%s: error %v, evidence %s", name, f.Error, f.Evidence)
				}
			}
		}
		slices.Sort(said)
		if d := cmp.Diff([]string{"TT-A", "TT-B"}, said); d != "" {
			t.Errorf("%s: raised on\n%s", name, d)
		}
	}
}

// Of three the one that leaves the other two is told, whatever it reports.
func TestOfThreeTheOddOneIsTold(t *testing.T) {
	p := together(t, sensorAt{way: readingWay}, sensorAt{way: seenWay, process: func(d float64) float64 { return fiftyOne(d) + 0.02*max(0, d-40) }}, sensorAt{way: pairsWay})
	out := p.run(0, 80)
	if len(out) == 0 {
		t.Fatal("nothing is said")
	}
	for _, f := range out {
		if f.Loop != "TT-B" || !(f.Error > 0) || strings.Contains(f.Evidence, "may have moved") {
			t.Errorf("%s, %+.2f °C: %s", f.Loop, float64(f.Error), f.Evidence)
		}
	}
}

// A batch process ramps, thermowells lag by different times, the two elements
// differ by their class, and the leads of one fail: no reason to doubt an element.
func TestPartnersOfASoundPlace(t *testing.T) {
	batch := func(lag, slope float64) func(float64) float64 {
		return func(d float64) float64 {
			x := math.Mod(d-lag/1440, 2)
			t := 30.0
			switch {
			case x > 0.3 && x < 0.35:
				t = 30 + 91*(x-0.3)/0.05 // 91 K in 72 min
			case x >= 0.35 && x < 0.5:
				t = 121
			case x >= 0.5 && x < 0.6:
				t = 121 - 84*(x-0.5)/0.1
			case x >= 0.6:
				t = 37
			}
			return t * (1 + slope)
		}
	}
	p := together(t,
		sensorAt{way: seenWay, process: batch(0, 0.002), fault: growth(measure.B1, 50, 0.01)},
		sensorAt{way: readingWay, process: batch(4, -0.002)})
	if out := p.run(0, 120); len(out) != 0 {
		t.Errorf("day %.1f %s: %s", dayOf(&out[0]), out[0].Loop, out[0].Evidence)
	}
	contact := slices.ContainsFunc(p.engines[0].Open(nil), func(f finding.Finding) bool { return f.Leads.Has(measure.B1) })
	if !contact {
		t.Error("the contact of b1 is not found: it was to be told apart from the element")
	}
}

// An element that was exchanged on day 60 stands apart by 0.3 °C until the
// journal says that work was done.
func TestWorkBeginsAPlaceAnew(t *testing.T) {
	p := together(t, sensorAt{way: readingWay, process: func(d float64) float64 {
		if d > 60 {
			return fiftyOne(d) + 0.3
		}
		return fiftyOne(d)
	}}, sensorAt{way: seenWay})
	out := p.run(0, 70)
	if len(out) == 0 || out[0].Loop != "TT-A" || out[len(out)-1].State == finding.Cleared {
		t.Fatalf("%d findings: want one on TT-A that stands", len(out))
	}
	p.engines[0].Journal(testStart.AddDate(0, 0, 70), WorkDone, nil)
	out = p.run(70, 130)
	if len(out) != 1 || out[0].State != finding.Cleared || dayOf(&out[0]) > 71 {
		t.Errorf("after the work: %v, want one clear at once", printed(out))
	}
}

// What comes back by itself is taken back.
func TestAPlaceThatAgreesAgain(t *testing.T) {
	p := together(t, sensorAt{way: readingWay, process: func(d float64) float64 {
		if d > 50 && d < 60 {
			return fiftyOne(d) - 0.4
		}
		return fiftyOne(d)
	}}, sensorAt{way: seenWay})
	out := p.run(0, 80)
	if n := len(out); n < 2 || out[0].State != finding.Raised || out[n-1].State != finding.Cleared || dayOf(&out[n-1]) > 66 {
		t.Fatalf("%v: want it raised and cleared by day 66", printed(out))
	}
	if !strings.Contains(out[0].Evidence, "a shunt") {
		t.Errorf("a reading that is low may be a shunt: %s", out[0].Evidence)
	}
}

// Work on one of two that were told apart takes back what is said of both: there
// is nothing left to hold the other one against.
func TestWorkOnOneOfTwoEndsBoth(t *testing.T) {
	p := together(t, sensorAt{way: readingWay, process: func(d float64) float64 { return fiftyOne(d) + min(max(0, d-40)*0.05, 0.6) }}, sensorAt{way: readingWay})
	if out := p.run(0, 60); len(out) < 2 {
		t.Fatalf("%d findings, want one on each", len(out))
	}
	p.engines[0].Journal(testStart.AddDate(0, 0, 60), WorkDone, nil)
	out := p.run(60, 100)
	if len(out) != 2 || out[0].State != finding.Cleared || out[1].State != finding.Cleared || dayOf(&out[1]) > 61 {
		t.Errorf("after the work: %v, want two clears", printed(out))
	}
	for _, f := range out {
		if !strings.Contains(f.Evidence, "TT-A was worked on") {
			t.Errorf("%s: %s", f.Loop, f.Evidence)
		}
	}
}

// A partner that falls silent is not judged by its last blocks, and what stood on
// it or on the other of two ends with a word.
func TestAPartnerThatIsGone(t *testing.T) {
	jumps := func(d float64) float64 {
		if d > 51 {
			return fiftyOne(d) + 0.4
		}
		return fiftyOne(d)
	}
	for _, test := range []struct {
		at   int // day from which the first is gone
		want int // findings: a raise and its end, or nothing
	}{{52, 0}, {60, 2}} {
		p := together(t, sensorAt{way: readingWay, process: jumps}, sensorAt{way: seenWay}, sensorAt{way: seenWay})
		out := p.run(0, test.at)
		out = append(out, p.runWithout(0, test.at, test.at+20)...)
		if len(out) != test.want || len(out) > 0 && (out[len(out)-1].State != finding.Cleared || !strings.Contains(out[len(out)-1].Evidence, "could not be compared")) {
			t.Errorf("gone on day %d: %v, want %d findings", test.at, printed(out), test.want)
		}
	}
}

// A gap of any length says nothing, and neither does a partner that is gone.
func TestPartnersOverAGap(t *testing.T) {
	p := together(t, sensorAt{way: readingWay}, sensorAt{way: seenWay})
	out := p.run(0, 40)
	out = append(out, p.run(160, 200)...)
	p.engines, p.loops = p.engines[:1], p.loops[:1]
	out = append(out, p.run(200, 240)...)
	if len(out) != 0 {
		t.Errorf("%s", out[0].Evidence)
	}
}

// A plant level that is restored in the middle goes on as if nothing had been.
func TestPartnersThroughASnapshot(t *testing.T) {
	make := func() *samePlace {
		return together(t, sensorAt{way: pairsWay, fault: growth(measure.A1, 40, 0.02)}, sensorAt{way: seenWay}, sensorAt{way: readingWay})
	}
	whole, halves := make(), make()
	want := whole.run(0, 90)
	if len(want) < 2 {
		t.Fatalf("%d findings: too few to compare", len(want))
	}
	var got []finding.Finding
	for _, span := range [][2]int{{0, 13}, {13, 52}, {52, 61}, {61, 90}} {
		got = append(got, halves.run(span[0], span[1])...)
		next := NewSite(halves.loops)
		if err := next.Restore(halves.site.Snapshot(nil)); err != nil {
			t.Fatal(err)
		}
		halves.site = next
	}
	if d := cmp.Diff(printed(want), printed(got)); d != "" {
		t.Errorf("with restarts:\n%s", d)
	}
}

// Partners form a place over one another; a tag that is not there joins nothing.
func TestPlaces(t *testing.T) {
	var loops []*diagnostics.Spec
	for _, x := range [][2]string{{"TT-1", "TT-3"}, {"TT-2", ""}, {"TT-3", ""}, {"TT-4", "TT-1"}, {"TT-5", "TT-9"}, {"TT-6", "TT-2"}} {
		s := testSpec(t, x[0], wiring.TwoWire, wiring.ReadingOnly)
		s.Partner = x[1]
		loops = append(loops, s)
	}
	var got [][]string
	for _, m := range placesOf(loops) {
		var tags []string
		for _, p := range m.loops {
			tags = append(tags, loops[p.Loop].Tag)
		}
		got = append(got, tags)
	}
	if d := cmp.Diff([][]string{{"TT-1", "TT-3", "TT-4"}, {"TT-2", "TT-6"}}, got); d != "" {
		t.Error(d)
	}
}

// The corrected reading of a loop is that of its element, whatever its leads do.
func TestPublishedReading(t *testing.T) {
	for name, w := range map[string]way{"all leads": seenWay, "reading": readingWay} {
		e, c := mustEngine(t, testSpec(t, "TT-1", w.method, w.reports)), newCable(3)
		c.process, c.fault = func(float64) float64 { return 80 }, growth(measure.B2, 5, 0.1)
		c.feed(e, 0, 10*perDay)
		want, x := 80.0, e.Publish()
		if w == readingWay { // both leads are in it, 0.512 + 0.498 Ω of copper
			want += 1.0
			if float64(x.Reading) < want {
				t.Errorf("%s: %.2f °C, want that of the transmitter", name, float64(x.Reading))
			}
			continue
		}
		if math.Abs(float64(x.Reading)-want) > 0.02 {
			t.Errorf("%s: %.3f °C, want 80 of the element", name, float64(x.Reading))
		}
		if at := testStart.Add(10*24*time.Hour - 2*slotS*time.Second); !x.ReadAt.Equal(at) {
			t.Errorf("%s: of %s, want the newest full slot, %s", name, x.ReadAt, at)
		}
	}
	if p := (*Engine)(mustEngine(t, testSpec(t, "TT-1", seenWay.method, seenWay.reports))).Publish(); !math.IsNaN(float64(p.Reading)) || !p.ReadAt.IsZero() || p.Reading == quantity.DegC(0) {
		t.Errorf("a loop without samples publishes %v", p.Reading)
	}
}

// Two places of a vessel that is not well mixed differ by tenths of a kelvin, now
// to the one side and now to the other, for days: that is theirs.
func TestPartnersThatWander(t *testing.T) {
	p := together(t, sensorAt{way: readingWay, process: func(d float64) float64 { return fiftyOne(d) + 0.25*math.Sin(2*math.Pi*d/11) }}, sensorAt{way: seenWay})
	if out := p.run(0, 90); len(out) != 0 {
		t.Errorf("day %.1f %s: %s", dayOf(&out[0]), out[0].Loop, out[0].Evidence)
	}
}
