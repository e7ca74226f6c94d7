package plant

import "sync/atomic"

// Counts is what the transmitters have been asked since New.
type Counts struct {
	Requests   uint64 // all of them
	Registers  uint64 // returned with values
	Exceptions uint64 // answered with an exception
	Silent     uint64 // left without an answer
	Writes     uint64 // among the exceptions: attempts to write, all refused
}

type counters struct{ requests, registers, exceptions, silent, writes atomic.Uint64 }

// Counts returns what has been asked so far.
func (p *Plant) Counts() Counts {
	c := &p.counts
	return Counts{
		Requests: c.requests.Load(), Registers: c.registers.Load(), Exceptions: c.exceptions.Load(),
		Silent: c.silent.Load(), Writes: c.writes.Load(),
	}
}
