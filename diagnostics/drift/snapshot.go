package drift

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"hash/fnv"
	"io"
	"math"
	"reflect"
)

// A snapshot is, little-endian:
//
//	"ohmd"  what (e engine, s site)  format  layout       what it belongs to
//	4       1                        2       8            strings of 2 + n bytes: engine version, identity, limits
//	length  body  CRC-32 (IEEE) of everything before
//	4       n     4
//
// It is read by the engine version and the layout that wrote it and by no other:
// a state that means something else would be worse than none. Restore checks
// everything before it touches the engine.
const (
	snapshotMagic  = "ohmd"
	snapshotFormat = 1

	ofEngine = 'e'
	ofSite   = 's'
)

// label is what a snapshot says about itself.
type label struct {
	what     byte
	layout   uint64 // of the state's fields
	version  string // of the engine
	identity string // what the state is about; another is refused
	limits   string // what parts of the state were computed against
}

// Snapshot appends the whole state to b, about 4 KiB, and returns the result. It
// holds no pointer into the engine.
func (e *Engine) Snapshot(b []byte) []byte {
	from := len(b)
	l := e.label()
	b = l.append(b)
	at := len(b)
	b = append(b, 0, 0, 0, 0)
	b, err := binary.Append(b, binary.LittleEndian, &e.s)
	if err != nil {
		panic("drift: state is not of fixed size: " + err.Error()) // a mistake in the declaration of state, found by any test
	}
	return seal(b, from, at)
}

// Restore takes a state written by Snapshot of the same engine version for a
// loop with the same tag, wires, method, reports and sensor. The interval may
// differ. Where only the limits differ, the days that the forecast rests on,
// which are shares of them, begin anew. An error says why a state was refused
// and leaves the engine as it was.
func (e *Engine) Restore(b []byte) error {
	mine := e.label()
	l, body, err := unseal(b)
	if err == nil {
		err = mine.accepts(&l)
	}
	if err != nil {
		return fmt.Errorf("%s: snapshot: %w", e.m.spec.Tag, err)
	}
	var s state
	if n, err := binary.Decode(body, binary.LittleEndian, &s); err != nil || n != len(body) {
		return fmt.Errorf("%s: snapshot: %d bytes of state, want %d", e.m.spec.Tag, len(body), binary.Size(&s))
	}
	e.s = s
	if l.limits != mine.limits {
		e.s.Error.forgetDays()
	}
	return nil
}

// forgetDays drops what is a share of the limits.
func (s *errorState) forgetDays() {
	s.Day, s.DayN, s.Kept = 0, 0, 0
	s.Hi, s.Lo = [days]float32{}, [days]float32{}
	s.Usual, s.Over = [2]float32{}, [2]float32{}
}

func (e *Engine) label() label {
	s := e.m.spec
	return label{
		what: ofEngine, layout: engineLayout, version: Version,
		identity: fmt.Sprintf("loop %s, %d wires, %s less %g Ω, reports %s, sensor values %s, %s from %.6g to %.6g Ω",
			s.Tag, s.Wires, s.Method, orZero(float64(s.Fixed)), s.Reports, s.SensorIs, s.Sensor.Name(), e.m.low, e.m.high),
		limits: fmt.Sprintf("%g %g °C, %g Ω, calibrated %d", s.LimitHigh, s.LimitLow, s.LeadLimit, s.Calibrated),
	}
}

func orZero(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

// append writes the header.
func (l *label) append(b []byte) []byte {
	b = append(b, snapshotMagic...)
	b = append(b, l.what)
	b = binary.LittleEndian.AppendUint16(b, snapshotFormat)
	b = binary.LittleEndian.AppendUint64(b, l.layout)
	for _, s := range []string{l.version, l.identity, l.limits} {
		s = s[:min(len(s), math.MaxUint16)]
		b = binary.LittleEndian.AppendUint16(b, uint16(len(s)))
		b = append(b, s...)
	}
	return b
}

// accepts says why a state labelled o cannot be taken; nil where it can.
func (l *label) accepts(o *label) error {
	switch {
	case o.what != l.what:
		return fmt.Errorf("of sort %q, want %q", o.what, l.what)
	case o.version != l.version:
		return fmt.Errorf("written by engine %s, this is %s; the state is learnt anew", o.version, l.version)
	case o.layout != l.layout:
		return fmt.Errorf("written by another build of engine %s, with other fields; the state is learnt anew", l.version)
	case o.identity != l.identity:
		return fmt.Errorf("is of %s; this is %s", o.identity, l.identity)
	}
	return nil
}

// seal fills the length at b[at:] and appends the checksum of b[from:].
func seal(b []byte, from, at int) []byte {
	binary.LittleEndian.PutUint32(b[at:], uint32(len(b)-at-4))
	return binary.LittleEndian.AppendUint32(b, crc32.ChecksumIEEE(b[from:]))
}

var errDamaged = errors.New("damaged: the checksum does not fit")

// unseal checks a snapshot as a whole and returns its label and body.
func unseal(b []byte) (l label, body []byte, err error) {
	r := reader{b: b}
	if string(r.take(len(snapshotMagic))) != snapshotMagic {
		return l, nil, errors.New("not a snapshot of this engine")
	}
	l.what = r.uint8()
	if f := r.uint16(); f != snapshotFormat && !r.short {
		return l, nil, fmt.Errorf("format %d, this engine reads %d", f, snapshotFormat)
	}
	if n := len(b) - 4; n < 0 || crc32.ChecksumIEEE(b[:n]) != binary.LittleEndian.Uint32(b[n:]) {
		return l, nil, errDamaged
	}
	l.layout = r.uint64()
	l.version, l.identity, l.limits = r.text(), r.text(), r.text()
	body = r.take(int(r.uint32()))
	if r.short || len(r.b) != 4 {
		return l, nil, errDamaged
	}
	return l, body, nil
}

// reader takes values off the front of b; what is not there reads as zero and
// sets short.
type reader struct {
	b     []byte
	short bool
}

func (r *reader) take(n int) []byte {
	if n < 0 || n > len(r.b) {
		r.short, r.b = true, nil
		return nil
	}
	x := r.b[:n]
	r.b = r.b[n:]
	return x
}

func (r *reader) number(n int) (x uint64) {
	for i, c := range r.take(n) {
		x |= uint64(c) << (8 * i)
	}
	return x
}

func (r *reader) uint8() uint8   { return uint8(r.number(1)) }
func (r *reader) uint16() uint16 { return uint16(r.number(2)) }
func (r *reader) uint32() uint32 { return uint32(r.number(4)) }
func (r *reader) uint64() uint64 { return r.number(8) }
func (r *reader) text() string   { return string(r.take(int(r.uint16()))) }

// engineLayout and siteLayout name the fields of what is written and the numbers
// that stand for kinds, so that a state of other fields is refused, not misread.
var (
	engineLayout = layoutOf(reflect.TypeFor[state]())
	siteLayout   = layoutOf(reflect.TypeFor[siteLoop](), reflect.TypeFor[siteGroup](), reflect.TypeFor[partner](), reflect.TypeFor[pairing]())
)

func layoutOf(types ...reflect.Type) uint64 {
	h := fnv.New64a()
	for _, t := range types {
		describe(h, t)
	}
	for _, k := range kinds {
		fmt.Fprintln(h, k)
	}
	return h.Sum64()
}

func describe(w io.Writer, t reflect.Type) {
	switch t.Kind() {
	case reflect.Struct:
		for f := range t.Fields() {
			fmt.Fprintf(w, "%s{", f.Name)
			describe(w, f.Type)
			fmt.Fprint(w, "}")
		}
	case reflect.Array:
		fmt.Fprintf(w, "[%d]", t.Len())
		describe(w, t.Elem())
	default:
		fmt.Fprint(w, t.Kind())
	}
}
