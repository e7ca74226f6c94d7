package drift

import (
	"fmt"
	"math"
	"strconv"
	"testing"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
)

// happening is what happens in a tale from a day on: to the leads, to the sample
// (false = it is lost), or in the journal.
type happening struct {
	day     float64
	leads   func(d float64, v *[measure.LeadCount]float64)
	sample  func(d float64, s *measure.Sample) bool
	journal bool
	entry   Entry
}

// verb makes a happening of a day, leads (0 where the verb has none) and numbers.
type verb struct {
	numbers int
	leads   bool
	make    func(h *happening, l finding.LeadSet, x []float64)
}

// each changes every lead of a set.
func each(l finding.LeadSet, change func(d float64, k measure.Lead, r float64) float64) func(float64, *[measure.LeadCount]float64) {
	return func(d float64, v *[measure.LeadCount]float64) {
		for k := range v {
			if l.Has(measure.Lead(k)) {
				v[k] = change(d, measure.Lead(k), v[k])
			}
		}
	}
}

// adds adds Ω to every lead of a set.
func adds(l finding.LeadSet, more func(d float64) float64) func(float64, *[measure.LeadCount]float64) {
	return each(l, func(d float64, _ measure.Lead, r float64) float64 { return r + more(d) })
}

const every = finding.LeadSet(15)

// verbs are the happenings of tales. Numbers are mΩ and days unless said otherwise.
var verbs = map[string]verb{
	// Faults.
	"grows": {2, true, func(h *happening, l finding.LeadSet, x []float64) { // mΩ a day, to a power of the days
		h.leads = adds(l, func(d float64) float64 { return x[0] / 1000 * math.Pow(d-h.day, x[1]) })
	}},
	"takes-off": {2, true, func(h *happening, l finding.LeadSet, x []float64) { // size at half its life, life: a hyperbola
		h.leads = adds(l, func(d float64) float64 {
			s := min((d-h.day)/x[1], 0.999)
			return x[0] / 1000 * s / (1 - s)
		})
	}},
	"steps": {1, true, func(h *happening, l finding.LeadSet, x []float64) {
		h.leads = adds(l, func(float64) float64 { return x[0] / 1000 })
	}},
	"bounces": {2, true, func(h *happening, l finding.LeadSet, x []float64) { // size, share of the polls
		h.leads = adds(l, func(d float64) float64 {
			if math.Mod(math.Abs(gauss(d, 9))*1e4, 1) < x[1] {
				return x[0] / 1000
			}
			return 0
		})
	}},
	"swells": {1, true, func(h *happening, l finding.LeadSet, x []float64) { // amplitude a day, widest at 15 h
		h.leads = adds(l, func(d float64) float64 { return x[0] / 1000 * (d - h.day) * (1 + math.Cos(2*math.Pi*(d-15.0/24))) })
	}},
	"warms": {2, true, func(h *happening, l finding.LeadSet, x []float64) { // size, per cent a kelvin of the cable
		h.leads = adds(l, func(d float64) float64 { return x[0] / 1000 * max(0, 1+x[1]/100*(copperOn(d)-1)/0.00393) })
	}},
	"wets": {2, true, func(h *happening, l finding.LeadSet, x []float64) { // amplitude, period
		h.leads = adds(l, func(d float64) float64 { return x[0] / 1000 * (1 - math.Cos(2*math.Pi*(d-h.day)/x[1])) })
	}},
	"hisses": {1, true, func(h *happening, l finding.LeadSet, x []float64) { // standard deviation
		h.leads = each(l, func(d float64, k measure.Lead, r float64) float64 { return r + x[0]/1000*gauss(d, int(k)) })
	}},
	"leaks": {2, false, func(h *happening, _ finding.LeadSet, x []float64) { // noise on every lead, growing e-fold in so many days
		h.leads = hiss(func(d float64) float64 { return x[0] / 1000 * math.Exp((d-h.day)/x[1]) })
	}},
	"voltage": {1, true, func(h *happening, l finding.LeadSet, x []float64) { // mΩ a kelvin a day between a batch process and the box
		h.leads = func(d float64, v *[measure.LeadCount]float64) {
			for k := range v {
				if l.Has(measure.Lead(k)) {
					v[k] += x[0] / 1000 * (d - h.day) * (lagged(batches, d) - boxOn(d))
				}
			}
		}
	}},
	"jumper": {0, true, func(h *happening, l finding.LeadSet, _ []float64) {
		h.leads = each(l, func(float64, measure.Lead, float64) float64 { return 0.006 })
	}},
	"bridged-for": {1, true, func(h *happening, l finding.LeadSet, x []float64) { // days
		h.leads = each(l, func(d float64, _ measure.Lead, r float64) float64 {
			if d < h.day+x[0] {
				return 0.006
			}
			return r
		})
	}},
	"mute": {0, true, func(h *happening, l finding.LeadSet, _ []float64) { // the input goes on without it
		h.sample = func(_ float64, s *measure.Sample) bool {
			for k := range s.Leads {
				if l.Has(measure.Lead(k)) {
					s.Leads[k] = quantity.Ohm(nan)
				}
			}
			return true
		}
	}},
	"zero": {0, true, func(h *happening, l finding.LeadSet, _ []float64) {
		h.sample = func(_ float64, s *measure.Sample) bool {
			for k := range s.Leads {
				if l.Has(measure.Lead(k)) {
					s.Leads[k] = 0
				}
			}
			return true
		}
	}},
	"opens": {1, true, func(h *happening, l finding.LeadSet, x []float64) { // for so many days
		h.sample = func(d float64, s *measure.Sample) bool {
			for k := range s.Leads {
				if l.Has(measure.Lead(k)) && d < h.day+x[0] {
					s.Leads[k], s.Sensor, s.Reading = quantity.Ohm(nan), quantity.Ohm(nan), quantity.DegC(nan)
				}
			}
			return true
		}
	}},
	// Work.
	"cable": {1, false, func(h *happening, _ finding.LeadSet, x []float64) { // times as long
		h.leads = each(every, func(_ float64, _ measure.Lead, r float64) float64 { return r * x[0] })
	}},
	"spliced": {1, true, func(h *happening, l finding.LeadSet, x []float64) { // longer by so many per cent
		h.leads = each(l, func(_ float64, _ measure.Lead, r float64) float64 { return r * (1 + x[0]/100) })
	}},
	"coarser": {1, false, func(h *happening, _ finding.LeadSet, x []float64) { // resolution
		h.leads = each(every, func(_ float64, _ measure.Lead, r float64) float64 { return math.Round(r/x[0]*1000) * x[0] / 1000 })
	}},
	"finer": {0, false, func(h *happening, _ finding.LeadSet, _ []float64) { // digits below 1 mΩ
		h.sample = func(d float64, s *measure.Sample) bool {
			for k := range s.Leads {
				s.Leads[k] += quantity.Ohm(0.0003 * gauss(d, 30+k))
			}
			return true
		}
	}},
	"swapped": {0, true, func(h *happening, l finding.LeadSet, _ []float64) { // two leads
		h.leads = func(_ float64, v *[measure.LeadCount]float64) {
			var two []int
			for k := range v {
				if l.Has(measure.Lead(k)) {
					two = append(two, k)
				}
			}
			v[two[0]], v[two[1]] = v[two[1]], v[two[0]]
		}
	}},
	"settles": {2, true, func(h *happening, l finding.LeadSet, x []float64) { // size, time constant
		h.leads = adds(l, func(d float64) float64 { return x[0] / 1000 * math.Exp(-(d-h.day)/x[1]) })
	}},
	"recalibrated": {1, false, func(h *happening, _ finding.LeadSet, x []float64) { // gain in per cent
		h.sample = func(_ float64, s *measure.Sample) bool {
			for k := range s.Leads {
				s.Leads[k] = quantity.Ohm(math.Round(float64(s.Leads[k])*(1+x[0]/100)*1000) / 1000)
			}
			return resist(s, s.Sensor*quantity.Ohm(1+x[0]/100))
		}
	}},
	"filter": {1, false, func(h *happening, _ finding.LeadSet, x []float64) { // noise of 2 mΩ before, times so much after
		day := h.day
		h.day = 0
		h.leads = hiss(func(d float64) float64 {
			if d < day {
				return 0.002
			}
			return 0.002 * x[0]
		})
	}},
	"work-begins": {0, false, func(h *happening, _ finding.LeadSet, _ []float64) { h.journal, h.entry = true, FunctionCheck }},
	"check-ended": {0, false, func(h *happening, _ finding.LeadSet, _ []float64) { h.journal, h.entry = true, CheckEnded }},
	"work-done":   {0, false, func(h *happening, _ finding.LeadSet, _ []float64) { h.journal, h.entry = true, WorkDone }},
	"accepted":    {0, false, func(h *happening, _ finding.LeadSet, _ []float64) { h.journal, h.entry = true, BaselineAccepted }},
	// Weather, process, data.
	"hot-line": {2, true, func(h *happening, l finding.LeadSet, x []float64) { // per cent of a lead, time constant in hours
		h.leads = each(l, func(d float64, _ measure.Lead, r float64) float64 { return r * (1 + x[0]/100*steam(d, x[1])) })
	}},
	"bursts": {1, false, func(h *happening, _ finding.LeadSet, x []float64) { // noise on every lead, half a day twice a week
		h.leads = hiss(func(d float64) float64 {
			if math.Mod(d, 3.5) < 0.5 {
				return x[0] / 1000
			}
			return 0
		})
	}},
	"element-drifts": {1, false, func(h *happening, _ finding.LeadSet, x []float64) { // mΩ a day
		h.sample = func(d float64, s *measure.Sample) bool { return resist(s, s.Sensor+quantity.Ohm(x[0]/1000*(d-h.day))) }
	}},
	"outage": {1, false, func(h *happening, _ finding.LeadSet, x []float64) { // for so many days
		h.sample = func(d float64, _ *measure.Sample) bool { return d >= h.day+x[0] }
	}},
	"bad-bus": {2, false, func(h *happening, _ finding.LeadSet, x []float64) { // share of lost polls, of zeros in a register
		h.sample = func(d float64, s *measure.Sample) bool {
			if u := math.Mod(math.Abs(gauss(d, 21))*1e4, 1); u < x[1] {
				s.Leads[int(u*1e6)%3] = 0
			}
			return math.Mod(math.Abs(gauss(d, 22))*1e4, 1) >= x[0]
		}
	}},
}

// resist gives a sample another resistance of the element of a Pt100.
func resist(s *measure.Sample, r quantity.Ohm) bool {
	pt100, err := rtd.ParseSensor("Pt100")
	s.Sensor, s.Reading = r, pt100.Inverse(r, 0)
	return err == nil
}

// lagged is a process as a head feels it that follows within an hour.
func lagged(process func(float64) float64, d float64) float64 {
	head, sum := 0.0, 0.0
	for h := 0.0; h < 6; h += 0.125 { // the first-order response by its kernel
		w := math.Exp(-h)
		head, sum = head+w*process(d-h/24), sum+w
	}
	return head / sum
}

func happens(f []string) (h happening, err error) {
	if h.day, err = strconv.ParseFloat(f[0], 64); err != nil || len(f) < 2 {
		return h, fmt.Errorf("want a word of tales, or a day and a verb")
	}
	v, ok := verbs[f[1]]
	if !ok {
		return h, fmt.Errorf("no verb %q", f[1])
	}
	var leads finding.LeadSet
	f = f[2:]
	if v.leads && len(f) > 0 {
		if leads, err = leadSet(f[0]); err != nil {
			return h, err
		}
		f = f[1:]
	}
	if len(f) != v.numbers {
		return h, fmt.Errorf("%d numbers, want %d", len(f), v.numbers)
	}
	x := make([]float64, len(f))
	for i := range f {
		if x[i], err = strconv.ParseFloat(f[i], 64); err != nil {
			return h, err
		}
	}
	v.make(&h, leads, x)
	return h, nil
}

func TestTalesAreUnderstoodOrRefused(t *testing.T) {
	for text, ok := range map[string]bool{
		"40 grows b1 2 1":             true,
		"# prose\n\ndays 30":          true,
		"40 grows c1 2 1":             false,
		"40 grows b1 2":               false,
		"40 rusts b1 2 1":             false,
		"forty grows b1 2 1":          false,
		"first lead-drift b1 40 45":   true,
		"first lead-draft b1 40 45":   false,
		"first lead-drift b1 40":      false,
		"way three-wire-dual some":    false,
		"note cable-changed 40 45":    true,
		"finally lead-drift b1 info":  true,
		"cleared lead-drift 40 later": false,
	} {
		if _, err := parseTale(text); (err == nil) != ok {
			t.Errorf("%q: error %v", text, err)
		}
	}
}
