package poll

import (
	"fmt"
	"math"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/measure"
)

// fingerprint is the step of a device's values: it shows through whatever is
// measured, and a transmitter of another make, range or firmware behind the
// same address has another. Each quantity has its finest decimal place, learned
// over many changes; a device that suddenly gives coarser or finer values for
// long enough is not the one that was there.
type fingerprint struct {
	known [printed]uint8 // decimals learned, plus one; 0 = not yet
	now   [printed]uint8 // finest decimals of the present window, plus one
	last  [printed]float64
	moves [printed]uint16 // changes in the present window
	odd   [printed]uint8  // windows in a row that differed from known
}

// printedQuantities are looked at; one place each in a fingerprint.
var printedQuantities = [...]devices.Quantity{
	devices.LeadA1, devices.LeadA2, devices.LeadB1, devices.LeadB2, devices.LoopA, devices.LoopB,
	devices.SensorOhm, devices.ReadingDegC,
}

const (
	printed      = len(printedQuantities)
	printWindow  = 64 // changes
	printOdd     = 2  // windows
	mostDecimals = 5  // finer cannot be told from a float's own rounding
)

// take looks at a sample and returns a text when the device has changed.
func (p *fingerprint) take(s *measure.Sample) string {
	for i, q := range printedQuantities {
		v := q.Of(s)
		if math.IsNaN(v) || v == p.last[i] {
			continue
		}
		p.last[i] = v
		p.now[i] = max(p.now[i], 1+decimals(v))
		if p.moves[i]++; p.moves[i] < printWindow {
			continue
		}
		if text := p.window(i, q); text != "" {
			return text
		}
	}
	return ""
}

func (p *fingerprint) window(i int, q devices.Quantity) string {
	seen := p.now[i]
	p.moves[i], p.now[i] = 0, 0
	switch {
	case p.known[i] == 0:
		p.known[i] = seen
	case p.known[i] == seen:
		p.odd[i] = 0
	default:
		p.odd[i]++
	}
	if p.odd[i] < printOdd {
		return ""
	}
	text := fmt.Sprintf("the values of %s have %s now, they had %s: was the device exchanged or set anew?",
		q, places(seen), places(p.known[i]))
	*p = fingerprint{} // learn the new device
	return text
}

func places(n uint8) string {
	if n > mostDecimals {
		return fmt.Sprintf("%d or more decimals", mostDecimals)
	}
	return fmt.Sprintf("%d decimals", n-1)
}

// decimals returns the decimal places of a value, as far as a float32 can carry
// them, at most mostDecimals.
func decimals(v float64) uint8 {
	scale := 1.0
	for n := range uint8(mostDecimals) {
		x := math.Abs(v) * scale
		if math.Abs(x-math.Round(x)) <= math.Max(x*6e-8, 1e-9) {
			return n
		}
		scale *= 10
	}
	return mostDecimals
}
