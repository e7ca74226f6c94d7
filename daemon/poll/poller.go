package poll

import (
	"context"
	"errors"
	"time"

	"github.com/rs/zerolog"
)

// Poller polls a plan until its Run ends.
type Poller struct{}

// Options are what a Poller may be told; the zero value is usable.
type Options struct {
	Log      zerolog.Logger
	DialRate float64 // connects a second over all links; 0 = 50
}

// New returns a poller for plan. Nothing is opened before Run.
func New(plan Plan, sink Sink, o Options) (*Poller, error) { return nil, errors.New("not yet") }

// Run polls until ctx ends and returns when every link has closed.
func (p *Poller) Run(ctx context.Context) error { return nil }

// Reload takes over a new plan while running. A link whose configuration is
// unchanged keeps its connection, and a loop that is unchanged its schedule: no
// poll is missed. From the return on, readings carry the new plan's indices and
// go to sink only.
func (p *Poller) Reload(plan Plan, sink Sink) error { return nil }

// Work polls one loop as fast as its device and the probe budget of its link
// allow, for the given time, at most an hour; zero ends it.
func (p *Poller) Work(loop int, d time.Duration) error { return nil }

// WorkRate returns the polls a second that work mode reaches on the loop, 0
// when it is off.
func (p *Poller) WorkRate(loop int) float64 { return 0 }

// Stats returns the counters of every link in the order of the plan.
func (p *Poller) Stats() []LinkStats { return nil }

// LinkStats counts what happened on one link.
type LinkStats struct {
	Name  string
	Polls uint64 // loop polls due and delivered, whatever their quality
	Good  uint64
}
