package poll

import (
	"cmp"
	"slices"
	"time"

	"ohmdrift/devices"
)

// Permit is everything that polling will do on one link, for whoever must
// approve it. It is worked out from the same jobs that run.
type Permit struct {
	Link      devices.LinkConfig
	Addresses []string // host:port or serial port, the second path after the first
	Transport devices.Transport
	Requests  []PermitRequest
	Rate      float64 // requests a second, when every unit answers
}

// PermitRequest is one read that is repeated.
type PermitRequest struct {
	Unit     uint8
	Function uint8 // 3, 4 or 43
	First    uint16
	Count    uint16 // registers
	Most     uint16 // on serial frames the number varies from Count to this, so that a late answer can be told
	Every    time.Duration
	Times    int // requests in that time: 2 where a block is read before and after others
	Loops    []string
}

// Permits lists what a plan will do, link by link.
func Permits(plan Plan) ([]Permit, error) {
	c, err := compile(plan)
	if err != nil {
		return nil, err
	}
	var all []Permit
	for i, l := range plan.Links {
		p := Permit{Link: l.WithDefaults()}
		for _, u := range []string{l.URL, l.Second} {
			if t, addr, err := devices.ParseURL(u); err == nil {
				p.Addresses = append(p.Addresses, addr)
				if u == l.URL {
					p.Transport = t
				}
			}
		}
		for _, j := range jobsOf(&c, i, nil) {
			p.add(j)
		}
		p.addNamePlates(&c, i)
		slices.SortStableFunc(p.Requests, func(a, b PermitRequest) int {
			return cmp.Or(cmp.Compare(a.Unit, b.Unit), cmp.Compare(a.Function, b.Function), cmp.Compare(a.First, b.First))
		})
		for _, q := range p.Requests {
			p.Rate += float64(q.Times) / q.Every.Seconds()
		}
		all = append(all, p)
	}
	return all, nil
}

func (p *Permit) add(j *job) {
	var loops []string
	for _, m := range j.members {
		loops = append(loops, m.key.tag)
	}
	twice := -1
	if len(j.requests) > 1 {
		twice = j.members[0].decoder.CycleRequest()
	}
	for i, r := range j.requests {
		q := PermitRequest{Unit: j.id, Function: uint8(r.Table), First: r.Addr, Count: r.Count, Most: r.Count, Every: j.interval, Times: 1, Loops: loops}
		if p.Transport.Ambiguous() {
			q.Most = r.Longest()
		}
		if i == twice {
			q.Times = 2
		}
		p.Requests = append(p.Requests, q)
	}
}

// addNamePlates lists the units that are asked for their identity.
func (p *Permit) addNamePlates(c *compiled, link int) {
	asked := map[uint8]bool{}
	for _, l := range c.Loops {
		if l.Link == link && l.Profile.Identity && !asked[l.Unit] {
			asked[l.Unit] = true
			p.Requests = append(p.Requests, PermitRequest{Unit: l.Unit, Function: 43, Every: identityEvery, Times: 1, Loops: []string{l.Tag}})
		}
	}
}
