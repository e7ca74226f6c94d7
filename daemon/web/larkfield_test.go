package web

import (
	"context"
	"fmt"
	"math"
	"sync"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// plant is the invented Larkfield site as a Source that a test can change.
type plant struct {
	mu       sync.Mutex
	loops    []Loop
	progress Progress
	trend    []TrendPoint
	trendErr error
}

func (p *plant) Overview() Overview {
	p.mu.Lock()
	defer p.mu.Unlock()
	o := Overview{Site: "Larkfield", Loops: make([]Row, len(p.loops))}
	for i := range p.loops {
		o.Loops[i] = p.loops[i].Row
	}
	return o
}

func (p *plant) Loop(tag string) (Loop, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, l := range p.loops {
		if l.Spec.Tag == tag {
			return l, true
		}
	}
	return Loop{}, false
}

func (p *plant) Trend(_ context.Context, _ string, from, to time.Time, _ time.Duration, each func(TrendPoint)) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, t := range p.trend {
		if !t.At.Before(from) && t.At.Before(to) {
			each(t)
		}
	}
	return p.trendErr
}

func (p *plant) Progress() Progress {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.progress
}

// change edits one loop.
func (p *plant) change(tag string, edit func(*Loop)) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for i := range p.loops {
		if p.loops[i].Spec.Tag == tag {
			edit(&p.loops[i])
		}
	}
}

// newPlant is an empty plant whose polling goes well.
func newPlant(now time.Time) *plant {
	return &plant{progress: Progress{Started: now.Add(-time.Hour), LastPoll: now, PollsPerSecond: 57.3}}
}

var places = []struct{ area, box, service string }{
	{"Seed train", "JB-11", "Seed vessel 1 jacket"},
	{"Seed train", "JB-11", "Seed vessel 2 broth"},
	{"Fermentation", "JB-21", "Fermenter 1 broth"},
	{"Fermentation", "JB-22", "Fermenter 2 jacket return"},
	{"Recovery", "JB-31", "Centrifuge feed"},
	{"Purification", "JB-41", "Column 3 inlet"},
	{"Utilities", "JB-51", "Clean steam header"},
	{"Utilities", "JB-52", "Glycol return"},
}

// addSound adds a sound loop number n, four-, three- or two-wire by turns.
func (p *plant) addSound(n int, now time.Time) *Loop {
	sensor, err := rtd.ParseSensor("Pt100")
	if err != nil {
		panic(err)
	}
	at := places[n%len(places)]
	s := &diagnostics.Spec{
		Tag: fmt.Sprintf("TT-%d", 1101+n), Site: "Larkfield", Area: at.area, Box: at.box, Cabinet: "MC-4", Cable: fmt.Sprintf("W-%d", 400+n),
		Role: "indication", Service: at.service, Sensor: sensor, Class: rtd.ClassA, LimitHigh: 0.5, LimitLow: -0.5,
		LeadLimit: quantity.Ohm(math.NaN()), Calibrated: diagnostics.CalibratedNever, Interval: time.Second,
	}
	switch n % 5 {
	case 0, 1:
		s.Wires, s.Method, s.Reports = 3, wiring.ThreeWireDual, wiring.AllLeads
	case 2:
		s.Wires, s.Method, s.Reports = 4, wiring.FourWire, wiring.AllLeads
	case 3:
		s.Wires, s.Method, s.Reports = 3, wiring.ThreeWireLoop, wiring.PairsOnly
	case 4:
		s.Wires, s.Method, s.Reports = 2, wiring.TwoWire, wiring.ReadingOnly
	}
	l := Loop{Link: "gateway-2", Unit: uint8(n%40 + 1), Profile: "lead-transmitter", Contact: measure.NoLeads(), Terminals: run(s)}
	l.Spec, l.Polled, l.History, l.RecordedUntil = s, now, now.Add(-90*24*time.Hour), now.Add(-2*time.Hour)
	l.Values = soundValues(s, n, now)
	for _, lead := range s.Leads() {
		if visible(s.Reports, lead) {
			l.Contact[lead] = quantity.Ohm(0.003 + 0.001*float64(lead))
		}
	}
	p.loops = append(p.loops, l)
	return &p.loops[len(p.loops)-1]
}

func run(s *diagnostics.Spec) (run []Terminal) {
	for i, lead := range s.Leads() {
		run = append(run,
			Terminal{lead, 1, "Head TE" + s.Tag[2:], "", fmt.Sprint(i + 1)},
			Terminal{lead, 2, s.Box, "X2", fmt.Sprint(5 + i)},
			Terminal{lead, 3, "MC-4", "X7", fmt.Sprint(29 + i)},
			Terminal{lead, 4, s.Tag, "", fmt.Sprint(i + 1)})
	}
	return run
}

func soundValues(s *diagnostics.Spec, n int, now time.Time) diagnostics.Assessment {
	a := (&Row{}).values() // everything absent
	a.At, a.Reading, a.Tolerance = now, quantity.DegC(20+float64(n*7%110)), 0.28
	if s.Reports == wiring.ReadingOnly {
		return a
	}
	for _, lead := range s.Leads() {
		if visible(s.Reports, lead) {
			a.Leads[lead] = quantity.Ohm(0.6 + 0.01*float64(n%30) + 0.002*float64(lead))
		}
	}
	if s.Reports == wiring.AllLeads {
		setError(&a, s, quantity.Ohm(-0.004))
	}
	return a
}

// setError sets the imbalance and what follows from it, by the slope of a Pt100
// at 0 °C (0.391 Ω/K, IEC 60751).
func setError(a *diagnostics.Assessment, s *diagnostics.Spec, imbalance quantity.Ohm) {
	if s.Method == wiring.FourWire {
		imbalance = 0
	}
	a.Imbalance, a.Error, a.U = imbalance, quantity.OhmPerK(0.39083).Error(imbalance), 0.021
	a.ShareLimit = math.Abs(float64(a.Error)) / 0.5
	a.ShareTolerance = math.Abs(float64(a.Error)) / float64(a.Tolerance)
	a.Corrected, a.UCorrected = quantity.DegC(float64(a.Reading)-float64(a.Error)), 0.11
	a.POverLimit = 0
	if a.ShareLimit > 1 {
		a.POverLimit, a.Over = 0.97, true
	}
}

// degrade puts a growing contact on one lead, with its finding and forecast.
func degrade(l *Loop, lead measure.Lead, contact quantity.Ohm, now time.Time) {
	l.Values.Leads[lead] += contact
	l.Contact[lead] = contact
	setError(&l.Values, l.Spec, -contact)
	f := finding.Finding{
		Time: now, Loop: l.Spec.Tag, Kind: finding.LeadDrift, Leads: finding.LeadsOf(lead), Severity: finding.Maintenance,
		Since: now.Add(-47 * 24 * time.Hour), Contact: contact, Error: l.Values.Error, U: l.Values.U, POverLimit: 0.02, Confidence: 0.98,
		Evidence: fmt.Sprintf("Contact part of %v rose from 0.004 to %.3f Ω in 47 days while the copper of all leads moved alike; the other leads stayed within 0.002 Ω.", lead, float64(contact)),
		Forecast: &finding.Forecast{
			State: finding.Dated, Quantity: finding.ErrorLimit, Value: -0.5, Unit: "degC",
			P10: now.Add(24 * 24 * time.Hour), P50: now.Add(44 * 24 * time.Hour), P90: now.Add(82 * 24 * time.Hour),
		},
	}
	l.stand(diagnostics.MaintenanceRequired, f)
}

func (l *Loop) stand(c diagnostics.Condition, fs ...finding.Finding) {
	l.Condition, l.Findings, l.Open = c, fs, len(fs)
	l.Standing = &l.Findings[0]
}

// plain is a finding that says little but its kind.
func plainFinding(k finding.Kind, s finding.Severity, since time.Time, evidence string, leads ...measure.Lead) finding.Finding {
	n := math.NaN()
	return finding.Finding{
		Kind: k, Severity: s, Since: since, Evidence: evidence, Leads: finding.LeadsOf(leads...),
		Contact: quantity.Ohm(n), Error: quantity.DeltaC(n), U: quantity.DeltaC(n), POverLimit: n, Confidence: 0.95,
	}
}

// larkfield is a plant of n loops, some of them in trouble; the trend is that of
// TT-1101.
func larkfield(n int, now time.Time) *plant {
	p := newPlant(now)
	for i := range n {
		p.addSound(i, now)
	}
	trouble := []func(l *Loop){
		0: func(l *Loop) { degrade(l, measure.B1, 0.126, now) },
		2: func(l *Loop) {
			l.Values.Leads[measure.A2] = quantity.Ohm(math.NaN())
			l.stand(diagnostics.ConditionFailure, plainFinding(finding.LeadOpen, finding.Failure, now.Add(-3*time.Hour), "a2 is out of range high while the reading is held by the last value.", measure.A2))
		},
		3: func(l *Loop) { l.Polled, l.Values = time.Time{}, diagnostics.Assessment{} },
		5: func(l *Loop) {
			degrade(l, measure.B1, 0.232, now)
			l.Values.Over = true
			over := plainFinding(finding.Imbalance, finding.OutOfSpec, now.Add(-9*24*time.Hour), "Error −0.594 ± 0.021 °C is beyond −0.50 °C.")
			over.POverLimit = 0.97
			over.Forecast = &finding.Forecast{State: finding.Past, Quantity: finding.ErrorLimit, Value: -0.5, Unit: "degC"}
			l.stand(diagnostics.OutOfSpecification, over, l.Findings[0])
		},
		7: func(l *Loop) {
			l.Values.At = now.Add(-6 * time.Minute)
			l.Quality, l.Problem = measure.Comms, "gateway-2 (10.0.4.7:502) unit 8: no answer in 1 s; is the unit powered?"
		},
		10: func(l *Loop) { l.Condition = diagnostics.FunctionCheck },
	}
	for i, edit := range trouble {
		if edit != nil && i < n {
			edit(&p.loops[i])
		}
	}
	if n > 12 {
		p.moisture(12, now)
	}
	p.history(now)
	return p
}

func (p *plant) moisture(i int, now time.Time) {
	l := &p.loops[i]
	f := plainFinding(finding.LeadMoisture, finding.Maintenance, now.Add(-20*24*time.Hour), "Contact of a1 and b2 rises by 0.04 Ω within hours of each wash-down and falls over two days.", measure.A1, measure.B2)
	f.Contact, f.Forecast = 0.041, &finding.Forecast{State: finding.CannotTell, Why: "it comes and goes with wash-down"}
	l.stand(diagnostics.MaintenanceRequired, f)
}

// history is 90 days of hourly values with an onset 47 days ago.
func (p *plant) history(now time.Time) {
	onset := now.Add(-47 * 24 * time.Hour)
	for at := now.Add(-90 * 24 * time.Hour); at.Before(now); at = at.Add(time.Hour) {
		grown := math.Max(0, at.Sub(onset).Hours()/(47*24))
		wave := math.Sin(float64(at.Unix())/3.7e3) + math.Sin(float64(at.Unix())/1.1e4)
		c := 0.004 + 0.122*math.Pow(grown, 1.3) + 0.0015*wave
		t := TrendPoint{At: at, Error: quantity.DeltaC(-c/0.39083 + 0.004*wave), U: 0.02, Contact: measure.NoLeads()}
		t.Contact[measure.A1], t.Contact[measure.B1], t.Contact[measure.B2] = quantity.Ohm(0.004+0.0006*wave), quantity.Ohm(c), quantity.Ohm(0.005-0.0005*wave)
		p.trend = append(p.trend, t)
	}
}
