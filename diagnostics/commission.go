package diagnostics

import (
	"fmt"
	"math"

	"ohmdrift/diagnostics/contact"
	"ohmdrift/diagnostics/copper"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// thinnest is the section whose terminal blocks may have the most, 5.3 mΩ.
const thinnest quantity.SquareMM = 0.5

// Prediction is what one lead should have, from its conductor, length,
// temperature and terminals; NaN where the index states no cable.
type Prediction struct {
	Lead, Low, High quantity.Ohm
}

// The doubts of a prediction.
const (
	makeDoubt     = 0.12                // of the conductor: size, lay, tin, a length from a drawing (common practice)
	coldDoubt     = 0.12                // of a temperature that is not known: 20 ± 30 K of copper
	pointOhm      = quantity.Ohm(0.001) // a sound terminal point has about 1 mΩ (common practice)
	defaultPoints = 4                   // points a lead passes when not stated: head, box, marshalling, transmitter
)

// Predict returns what one lead should have at a cable temperature; NaN = not
// known.
func (s *Spec) Predict(cable quantity.DegC) Prediction {
	lead := float64(s.expectedLead())
	if lead <= 0 {
		n := quantity.Ohm(math.NaN())
		return Prediction{n, n, n}
	}
	alpha, doubt := copper.Alpha20, makeDoubt
	if s.Conductor.PerMetre() > 0 {
		alpha = s.Conductor.Alpha()
	}
	if quantity.Known(cable) {
		lead *= copper.Factor(alpha, cable)
	} else {
		doubt += coldDoubt
	}
	points := s.Points
	if points <= 0 {
		points = defaultPoints
	}
	p := Prediction{Low: quantity.Ohm(lead * (1 - doubt)), High: quantity.Ohm(lead*(1+doubt)) + quantity.Ohm(points)*contact.BlockLimit(thinnest)}
	p.Lead = quantity.Ohm(lead)
	if !positive(s.Cable20) { // a stated lead has its terminals in it
		p.Lead += quantity.Ohm(points) * pointOhm
	}
	return p
}

// Commissioning is what the first samples after work say about the wiring.
type Commissioning struct {
	Samples   int           // usable ones
	Mean      measure.Leads // Ω
	Predicted Prediction
	Findings  []finding.Finding
	Lines     []string // the same for people
}

// Commission checks the wiring of a loop by samples taken at commissioning or
// after work: leads against what the cable should have, the balance of a long
// extension, false four-wire connections, and what Check sees in the mean.
func (l *Loop) Commission(samples []measure.Sample) Commissioning {
	mean, n := meanSample(samples)
	a := l.Assess(&mean)
	c := Commissioning{Samples: n, Mean: a.Leads, Predicted: l.spec.Predict(mean.DeviceTemp)}
	if n == 0 {
		c.Lines = []string{"no usable sample"}
		return c
	}
	c.Findings = l.Check(&mean, &a, nil)
	if f, ok := l.sameRegister(samples, &a); ok {
		c.Findings = append(c.Findings, f)
	}
	if f, ok := l.threeTerminals(samples, &a); ok {
		c.Findings = append(c.Findings, f)
	}
	if f, ok := l.unbalanced(&a, c.Predicted); ok {
		c.Findings = append(c.Findings, f)
	} else if f, ok := l.offPrediction(&a, c.Predicted); ok {
		c.Findings = append(c.Findings, f)
	}
	c.Lines = l.commissionLines(&a, &c)
	return c
}

// sameRegister looks for copies of one value.
func (l *Loop) sameRegister(samples []measure.Sample, a *Assessment) (finding.Finding, bool) {
	if l.spec.Wires != 4 {
		return finding.Finding{}, false
	}
	for _, p := range [...][2]measure.Lead{{measure.A1, measure.A2}, {measure.B1, measure.B2}} {
		if same, ok := SameRegister(samples, p[0], p[1]); same && ok {
			v := FourWireVerdict{
				Leads: finding.LeadsOf(p[0], p[1]), Error: a.Leads[p[0]], Confidence: 0.85,
				Evidence: fmt.Sprintf("leads %v and %v agree bit for bit in %d samples: one value in two registers, no separate potential lead", p[0], p[1], len(samples)),
			}
			return l.finishFourWire(a, v), true
		}
	}
	return finding.Finding{}, false
}

// threeTerminals looks for a potential lead that was never there while the
// other leads are sound.
func (l *Loop) threeTerminals(samples []measure.Sample, a *Assessment) (finding.Finding, bool) {
	if l.spec.Wires != 4 || !quantity.Known(a.Leads[measure.A1]) || !quantity.Known(a.Leads[measure.B1]) {
		return finding.Finding{}, false
	}
	for _, lead := range [...]measure.Lead{measure.A2, measure.B2} {
		if l.neverThere(samples, lead) {
			return l.finishFourWire(a, FourWireVerdict{
				Leads: finding.LeadsOf(lead), Error: quantity.Ohm(math.NaN()), Confidence: 0.8,
				Evidence: fmt.Sprintf("lead %v is open in all %d samples, the others are sound: three terminals used, the loop works as three-wire", lead, len(samples)),
			}), true
		}
	}
	return finding.Finding{}, false
}

func (l *Loop) neverThere(samples []measure.Sample, lead measure.Lead) bool {
	n := 0
	for i := range samples {
		if !samples[i].Quality.Usable() {
			continue
		}
		o := samples[i].Leads[lead]
		if quantity.Known(o) && o <= MaxLead {
			return false
		}
		n++
	}
	return n > 0 && l.est.reported(lead)
}

func (l *Loop) finishFourWire(a *Assessment, v FourWireVerdict) finding.Finding {
	f := l.notFourWireFinding(a, v)
	f.Kind = finding.NotFourWire
	return f
}

// offPrediction reports leads that the cable data do not explain.
func (l *Loop) offPrediction(a *Assessment, p Prediction) (finding.Finding, bool) {
	if !quantity.Known(p.Lead) {
		return finding.Finding{}, false
	}
	var set finding.LeadSet
	slack := l.est.accuracy + l.est.step
	for lead, o := range a.Leads {
		if o > p.High+slack || o < p.Low-slack {
			set |= finding.LeadsOf(measure.Lead(lead))
		}
	}
	if set == 0 {
		return finding.Finding{}, false
	}
	f := l.raise(a, finding.Maintenance, 0.8, fmt.Sprintf(
		"leads %v are not what the cable predicts: %.3f Ω, %.3f to %.3f Ω", set.Names(), float64(p.Lead), float64(p.Low), float64(p.High)))
	f.Kind, f.Leads = finding.Implausible, set
	return f, true
}

// commissionLines prints the result: leads, prediction, findings.
func (l *Loop) commissionLines(a *Assessment, c *Commissioning) []string {
	lines := []string{fmt.Sprintf("%s: %d samples", l.spec.Tag, c.Samples)}
	for lead, o := range a.Leads {
		if quantity.Known(o) {
			lines = append(lines, fmt.Sprintf("lead %v: %.4f Ω", measure.Lead(lead), float64(o)))
		}
	}
	if quantity.Known(c.Predicted.Lead) {
		lines = append(lines, fmt.Sprintf("predicted: %.4f Ω (%.4f to %.4f Ω)", float64(c.Predicted.Lead), float64(c.Predicted.Low), float64(c.Predicted.High)))
	}
	if a.Reason != "" {
		lines = append(lines, "problem: "+string(a.Reason))
	}
	for i := range c.Findings {
		lines = append(lines, string(c.Findings[i].Kind)+": "+c.Findings[i].Evidence)
	}
	return lines
}
