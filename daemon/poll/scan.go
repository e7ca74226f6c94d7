package poll

import (
	"context"
	"time"

	"ohmdrift/devices"
)

// ScanOptions say what to look for on a link.
type ScanOptions struct {
	Units   []uint8
	Profile *devices.Profile // tried on each unit that answers; nil = none
	Base    uint16
	Curve   devices.Curve // of the expected sensor; nil = none
}

// Found is one unit that answered.
type Found struct {
	Unit        uint8    `json:"unit"`
	Answer      string   `json:"answer"`
	RoundTripMS float64  `json:"round_trip_ms"`
	Identity    string   `json:"identity,omitempty"`
	Values      []string `json:"values,omitempty"` // of the profile, one line a byte order
}

// Scan asks every unit for one register and reports those that answer, an
// exception included: it shows that somebody is there. It only reads. The error
// is of the link or of ctx.
func Scan(ctx context.Context, link devices.LinkConfig, o ScanOptions) ([]Found, error) {
	s := scanner{link: link.WithDefaults(), options: o}
	if o.Profile != nil {
		d, err := o.Profile.Compile()
		if err != nil {
			return nil, err
		}
		s.decoder = d
	}
	defer s.hangUp()
	var found []Found
	for _, u := range o.Units {
		if err := s.connect(ctx); err != nil {
			return found, err
		}
		f, ok := s.ask(u)
		if ctx.Err() != nil {
			return found, ctx.Err()
		}
		if ok {
			found = append(found, f)
		}
	}
	return found, nil
}

type scanner struct {
	conn    *devices.Conn
	release func() bool
	link    devices.LinkConfig
	options ScanOptions
	decoder *devices.Decoder
}

// connect opens the link, again where a gateway has hung up on a unit that it
// does not know.
func (s *scanner) connect(ctx context.Context) error {
	if s.conn != nil {
		return nil
	}
	c, err := devices.Open(ctx, s.link)
	if err != nil {
		return err
	}
	s.conn, s.release = c, context.AfterFunc(ctx, c.Interrupt)
	return nil
}

func (s *scanner) hangUp() {
	if s.conn != nil {
		s.release()
		s.conn.Close()
		s.conn = nil
	}
}

// ask tries holding, then input registers of one unit.
func (s *scanner) ask(unit uint8) (Found, bool) {
	f := Found{Unit: unit}
	for _, table := range []devices.Table{devices.Holding, devices.Input} {
		start := time.Now()
		_, err := s.conn.Read(devices.Ask{Unit: unit, Table: table, Addr: s.options.Base, Count: 1, Timeout: s.link.Timeout})
		f.RoundTripMS = float64(time.Since(start).Microseconds()) / 1000
		switch fault := devices.FaultOf(err); fault {
		case devices.FaultNone:
			f.Answer = table.String() + " registers"
		case devices.FaultConfiguration, devices.FaultDevice, devices.FaultBusy:
			f.Answer = err.Error()
			continue
		case devices.FaultLost:
			s.hangUp()
			return f, false
		default:
			return f, false // nobody, or nobody that the gateway reaches
		}
		break
	}
	s.describe(&f)
	return f, true
}

// describe adds name plate and values. What does not work stays empty: the
// unit has answered, which is what was asked.
func (s *scanner) describe(f *Found) {
	if s.decoder == nil {
		return
	}
	if s.options.Profile.Identity {
		id, err := s.conn.Identify(f.Unit, s.link.Timeout)
		if devices.FaultOf(err) == devices.FaultLost {
			s.hangUp()
			return
		}
		f.Identity = id.String()
	}
	var blocks [][]byte
	for _, r := range s.decoder.Requests() {
		b, err := s.conn.Read(devices.Ask{
			Unit: f.Unit, Table: r.Table, Addr: s.options.Base + r.Addr, Count: r.Count, Max: r.Max, Timeout: s.link.Timeout,
		})
		if err != nil {
			f.Values = []string{err.Error()}
			if devices.FaultOf(err) == devices.FaultLost {
				s.hangUp()
			}
			return
		}
		blocks = append(blocks, b)
	}
	for o := devices.ABCD; o <= devices.DCBA; o++ {
		t := s.decoder.Try(o, blocks, s.options.Curve)
		f.Values = append(f.Values, t.String())
	}
}
