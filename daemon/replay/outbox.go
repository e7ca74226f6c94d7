package replay

import (
	"bufio"
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
)

const (
	// holdS is how long a line is held to come out in order, s of recorded time.
	holdS = 24 * 3600
	// releaseS is how often lines are sorted and written, s of recorded time.
	releaseS = 6 * 3600
)

// outbox holds lines until no earlier one can come, and writes them in the order
// of time, loop, kind.
type outbox struct {
	w         *bufio.Writer
	held      []line
	released  int64 // lines before this second are out
	findings  int64
	estimates int64
	buf       []byte
}

// line is one finding or one estimate.
type line struct {
	sec     int64
	loop    string
	finding *finding.Finding // nil = an estimate
	guess   guess
	spec    *diagnostics.Spec
}

func (l *line) kind() string {
	if l.finding == nil {
		return "" // before the findings of its moment
	}
	return string(l.finding.Kind)
}

// finding takes a finding. One that is about a time whose lines are out already
// carries the time at which it was said.
func (o *outbox) finding(f *finding.Finding) {
	own := *f
	if own.Time.Unix() < o.released {
		own.Time = time.Unix(o.released, 0).UTC()
	}
	o.held = append(o.held, line{sec: own.Time.Unix(), loop: own.Loop, finding: &own})
	o.findings++
}

// estimate takes an estimate; one whose hour is out already is left out.
func (o *outbox) estimate(s *diagnostics.Spec, g guess) {
	if sec := g.At.Unix(); sec >= o.released {
		o.held = append(o.held, line{sec: sec, loop: s.Tag, guess: g, spec: s})
		o.estimates++
	}
}

// release writes the lines before a moment, if it is worth the while.
func (o *outbox) release(before int64) error {
	if before < o.released+releaseS {
		return nil
	}
	slices.SortStableFunc(o.held, func(a, b line) int {
		return cmp.Or(cmp.Compare(a.sec, b.sec), cmp.Compare(a.loop, b.loop), cmp.Compare(a.kind(), b.kind()))
	})
	n, _ := slices.BinarySearchFunc(o.held, before, func(l line, t int64) int { return cmp.Compare(l.sec, t) })
	for i := range o.held[:n] {
		if err := o.write(&o.held[i]); err != nil {
			return fmt.Errorf("write the output: %w", err)
		}
	}
	rest := copy(o.held, o.held[n:])
	clear(o.held[rest:])
	o.held = o.held[:rest]
	o.released = before
	return nil
}

func (o *outbox) write(l *line) error {
	if l.finding == nil {
		o.buf = appendEstimate(o.buf[:0], l)
	} else {
		text, err := json.Marshal(l.finding)
		if err != nil {
			return err
		}
		o.buf = append(o.buf[:0], text...)
	}
	_, err := o.w.Write(append(o.buf, '\n'))
	return err
}

// appendEstimate writes an estimate as one object; what is not known is null.
func appendEstimate(b []byte, l *line) []byte {
	g := &l.guess
	b = append(b, `{"type":"estimate","from":"`...)
	b = g.From.UTC().AppendFormat(b, time.RFC3339)
	b = append(b, `","time":"`...)
	b = g.At.UTC().AppendFormat(b, time.RFC3339)
	b = append(b, `","loop":`...)
	b = appendText(b, l.loop)
	b = appendNumber(append(b, `,"error_degC":`...), g.Error)
	b = appendNumber(append(b, `,"u_degC":`...), g.U)
	b = append(b, `,"contact_ohm":{`...)
	for i, lead := range l.spec.Leads() {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(append(append(b, '"'), lead.String()...), `":`...)
		b = appendNumber(b, g.Contact[lead])
	}
	b = appendNumber(append(b, `},"copper_factor":`...), g.CopperFactor)
	return append(b, '}')
}

func appendText(b []byte, s string) []byte {
	text, err := json.Marshal(s)
	if err != nil {
		return append(b, `""`...) // no string makes Marshal fail
	}
	return append(b, text...)
}

// appendNumber writes five decimals at most, as findings have them.
func appendNumber[T ~float64](b []byte, x T) []byte {
	if !quantity.Known(x) {
		return append(b, "null"...)
	}
	const p = 1e5
	v := math.Round(float64(x)*p) / p
	if math.IsInf(v, 0) {
		v = float64(x) // too large to have decimals
	}
	return strconv.AppendFloat(b, v, 'g', -1, 64)
}
