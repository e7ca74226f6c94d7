package poll

import "ohmdrift/devices"

// Sink takes each reading on the goroutine of its link. It must not block for
// long and must not keep the pointer. The loop number is the one that the plan
// gives the loop (its ID): the daemon keeps it for as long as the tag exists,
// over reloads, so that a reading on its way during a reload still finds its
// loop.
type Sink interface {
	Take(loop int, r *devices.Reading)
}
