package drift

import (
	"math"

	"ohmdrift/diagnostics/finding"
)

// Noise that rose once and has stood still since is no shunt that matters: what
// conducts corrodes and spreads, and goes with wet and dry hours. So a standing
// finding about insulation is looked at again after weeks: the mean noise of its
// second week is compared with that of its fourth, and so on from fortnight to
// fortnight. Where it has not grown it is
// another input, filter or place of rounding, and learnt; what grows from there
// on is found again.
const (
	flatFrom  = 6 * dayS  // after the onset: three days of growth are in the charts by then
	flatSpan  = 8 * dayS  // of each of the two means: a wet and a dry spell
	flatApart = 13 * dayS // from the one to the other
	flatLeast = 24        // blocks of each, of 32
	// flatMost is the growth, as a logarithm, that is none: two standard errors of
	// two means of 32 blocks of 0.08. A leak whose noise power grows e-fold in a
	// month gains 0.1 there when its noise is a fifth above that of the input.
	flatMost = 0.04
	// flatLoud is the noise, as a logarithm, that is no matter of inputs: half as
	// much again stands until somebody has looked.
	flatLoud = 0.4
)

// flatState compares two times of a standing leak.
type flatState struct {
	From        int64   // begin of what is compared, s; 0 = nothing stands
	Early, Late float32 // means of the logarithm of the noise
	NE, NL      uint8   // blocks
}

// add takes the noise of a block that began age after the onset.
func (s *flatState) add(age int64, x float64) {
	switch {
	case age >= flatFrom && age < flatFrom+flatSpan:
		s.NE++
		s.Early += (float32(x) - s.Early) / float32(s.NE)
	case age >= flatFrom+flatApart && age < flatFrom+flatApart+flatSpan:
		s.NL++
		s.Late += (float32(x) - s.Late) / float32(s.NL)
	}
}

// flat follows a standing leak and takes it back when it has not grown for weeks.
func (e *Engine) flat(p *picture, x float64, out []finding.Finding) []finding.Finding {
	s := &e.s.Hiss.Flat
	r := &e.s.Found[aboutInsulation]
	if r.Kind == 0 {
		*s = flatState{}
		return out
	}
	if s.From == 0 {
		s.From = r.Since
	}
	age := p.at - blockS - s.From
	s.add(age, x)
	if age < flatFrom+flatApart+flatSpan {
		return out
	}
	if s.NE < flatLeast || s.NL < flatLeast || s.Late-s.Early > flatMost || s.Late > flatLoud {
		*s = flatState{From: s.From + flatApart, Early: s.Late, NE: s.NL} // it grows, is loud, or too little is known: again a fortnight later
		return out
	}
	since, times := r.Since, math.Exp(float64(s.Late))
	why := say("noise between all leads has stood still for two weeks (%.2f times that of the baseline, %.2f times before): more like another input or filter of the device than moisture", times, math.Exp(float64(s.Early)))
	out = e.clear(aboutInsulation, p.at, why+"; if nobody changed the device, measure the insulation once: what grows from here is told again", out)
	c := claim{kind: finding.DeviceChanged, severity: finding.Info, since: since, contact: nan, sure: 0.7, evidence: why + "; learnt"}
	e.hushed()
	return e.raise(aboutWork, p.at, &c, out)
}
