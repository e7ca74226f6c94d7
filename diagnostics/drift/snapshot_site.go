package drift

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
)

// siteLoop is what the plant level keeps of one loop, as a snapshot holds it.
type siteLoop struct {
	Factor, Contact, Share float64
	Kind                   uint8 // index into finding.Kinds() plus 1
	Leads                  finding.LeadSet
	Rests                  bool
	Since                  int64 // s
	SinceNs                int32
	SaidLoops              int32
	SaidFactor             float64
	WasBad                 int64 // s
	Reading                float64
	ReadAt, Anew           int64 // s
}

// siteGroup is what stands about one group; Members indices of loops follow it.
type siteGroup struct {
	Standing, Steps                   bool
	First, Told                       int32
	Since, Last, Few, Raised, Updated int64
	Members                           uint32
}

// Snapshot appends the whole state to b and returns the result: what was put,
// what neighbours said, and what is known of boxes and partners.
func (s *Site) Snapshot(b []byte) []byte {
	from := len(b)
	l := s.label()
	b = l.append(b)
	at := len(b)
	b = append(b, 0, 0, 0, 0)
	for _, x := range [...]uint64{uint64(s.last), math.Float64bits(s.faults), math.Float64bits(s.followed)} {
		b = binary.LittleEndian.AppendUint64(b, x)
	}
	for i := range s.put {
		b = put(b, s.loopState(i))
	}
	for i := range s.groups {
		c := &s.groups[i].common
		b = put(b, siteGroup{c.Standing, c.Steps, int32(c.First), int32(c.Told), c.Since, c.Last, c.Few, c.Raised, c.Updated, uint32(len(c.Members))})
		for _, m := range c.Members {
			b = binary.LittleEndian.AppendUint32(b, uint32(m))
		}
	}
	for _, m := range s.places {
		for i := range m.loops {
			b = put(b, m.loops[i])
		}
		for i := range m.pairs {
			b = put(b, m.pairs[i])
		}
	}
	return seal(b, from, at)
}

func put[T siteLoop | siteGroup | partner | pairing](b []byte, x T) []byte {
	b, err := binary.Append(b, binary.LittleEndian, &x)
	if err != nil {
		panic("drift: " + err.Error()) // all types are of fixed size
	}
	return b
}

func (s *Site) loopState(i int) siteLoop {
	p, n := &s.put[i], &s.said[i]
	return siteLoop{
		Factor: p.Factor, Contact: float64(p.Contact), Share: p.Share, Kind: kindIndex(p.Kind), Leads: p.Leads, Rests: p.Rests,
		Since: p.Since.Unix(), SinceNs: int32(p.Since.Nanosecond()), SaidLoops: int32(n.Loops), SaidFactor: n.Factor,
		WasBad: s.wasBad[i], Reading: float64(p.Reading), ReadAt: unixOf(p.ReadAt), Anew: unixOf(p.Anew),
	}
}

// Restore takes a state written by Snapshot of the same engine version for the
// same loops with the same boxes, cables, cabinets and partners, in the same
// order. An error says why a state was refused and leaves the site as it was.
func (s *Site) Restore(b []byte) error {
	mine := s.label()
	l, body, err := unseal(b)
	if err == nil {
		err = mine.accepts(&l)
	}
	if err != nil {
		return fmt.Errorf("plant snapshot: %w", err)
	}
	r := reader{b: body}
	last, faults, followed := int64(r.uint64()), math.Float64frombits(r.uint64()), math.Float64frombits(r.uint64())
	put, said, wasBad := make([]Published, len(s.put)), make([]Neighbour, len(s.said)), make([]int64, len(s.put))
	for i := range put {
		var x siteLoop
		r.get(&x)
		put[i] = Published{
			Factor: x.Factor, Kind: (&record{Kind: x.Kind}).kind(), Leads: x.Leads, Rests: x.Rests,
			Since: time.Unix(x.Since, int64(x.SinceNs)).UTC(), Contact: quantity.Ohm(x.Contact), Share: x.Share,
			Reading: quantity.DegC(x.Reading), ReadAt: timeOf(x.ReadAt), Anew: timeOf(x.Anew),
		}
		said[i], wasBad[i] = Neighbour{int(x.SaidLoops), x.SaidFactor}, x.WasBad
	}
	stands := make([]common, len(s.groups))
	for i := range stands {
		var x siteGroup
		r.get(&x)
		c := common{x.Standing, int(x.First), x.Since, x.Last, x.Few, x.Raised, x.Updated, nil, int(x.Told), x.Steps}
		for range min(int(x.Members), len(s.loops)) {
			c.Members = append(c.Members, int(r.uint32()))
		}
		stands[i] = c
	}
	places := slices.Clone(s.places)
	for i, m := range places {
		places[i] = place{slices.Clone(m.loops), slices.Clone(m.pairs)}
		for j := range places[i].loops {
			r.get(&places[i].loops[j])
		}
		for j := range places[i].pairs {
			r.get(&places[i].pairs[j])
		}
	}
	if r.short || len(r.b) != 0 {
		return fmt.Errorf("plant snapshot: %w", errDamaged)
	}
	s.last, s.faults, s.followed = last, faults, followed
	copy(s.wasBad, wasBad)
	s.places = places
	copy(s.put, put)
	copy(s.said, said)
	for i := range stands {
		s.groups[i].common = stands[i]
	}
	return nil
}

// get reads one fixed-size value.
func (r *reader) get(x any) {
	if _, err := binary.Decode(r.take(binary.Size(x)), binary.LittleEndian, x); err != nil {
		r.short = true
	}
}

func (s *Site) label() label {
	h := fnv.New64a()
	for _, l := range s.loops {
		fmt.Fprintf(h, "%q %q %q %q %q %q %q\n", l.Tag, l.Site, l.Area, l.Box, l.Cabinet, l.Cable, l.Partner)
	}
	return label{
		what: ofSite, layout: siteLayout, version: Version,
		identity: fmt.Sprintf("%d loops with index %016x (tags, boxes, cables, cabinets, partners and their order)", len(s.loops), h.Sum64()),
	}
}
