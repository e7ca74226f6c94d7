package poll

import (
	"errors"
	"fmt"
	"time"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/rtd"
)

// Plan is what to poll: links, and the loops behind them. The index of a loop
// is its index in the plant; a loop whose Link is −1 is not polled.
type Plan struct {
	Links []devices.LinkConfig
	Loops []Loop
}

// Loop is one measurement and where to read it.
type Loop struct {
	Tag      string
	Link     int // index into Plan.Links; −1 = not polled
	Unit     uint8
	Profile  *devices.Profile
	Base     uint16 // wire address of the loop's first register
	Interval time.Duration
	Sensor   rtd.Sensor // for the coherence of sensor and reading
}

// compiled is a plan whose profiles are decoders.
type compiled struct {
	Plan
	decoders []*devices.Decoder // per loop
}

// compile checks a plan and reports every mistake, joined.
func compile(plan Plan) (compiled, error) {
	c := compiled{Plan: plan, decoders: make([]*devices.Decoder, len(plan.Loops))}
	var errs []error
	names := map[string]bool{}
	for _, l := range plan.Links {
		if names[l.Name] {
			errs = append(errs, fmt.Errorf("link %s: two links have this name", l.Name))
		}
		names[l.Name] = true
		if _, _, err := devices.ParseURL(l.URL); err != nil {
			errs = append(errs, fmt.Errorf("link %s: %w", l.Name, err))
		}
	}
	cache := map[*devices.Profile]*devices.Decoder{}
	for i := range plan.Loops {
		if err := c.compileLoop(i, cache); err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", plan.Loops[i].Tag, err))
		}
	}
	return c, errors.Join(errs...)
}

func (c *compiled) compileLoop(i int, cache map[*devices.Profile]*devices.Decoder) error {
	l := &c.Loops[i]
	switch {
	case l.Link < 0:
		return nil
	case l.Link >= len(c.Links):
		return fmt.Errorf("link %d does not exist", l.Link)
	case l.Profile == nil:
		return errors.New("no profile")
	case l.Interval <= 0:
		return fmt.Errorf("interval %v: want more than zero", l.Interval)
	}
	d := cache[l.Profile]
	if d == nil {
		var err error
		if d, err = l.Profile.Compile(); err != nil {
			return err
		}
		cache[l.Profile] = d
	}
	for _, r := range d.Requests() {
		if uint32(l.Base)+uint32(r.Addr)+uint32(r.Count) > 1<<16 {
			return fmt.Errorf("base %d: profile %s reads past register 65535", l.Base, l.Profile.Name)
		}
	}
	c.decoders[i] = d
	return nil
}
