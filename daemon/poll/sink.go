package poll

import "ohmdrift/devices"

// Sink takes each reading on the goroutine of its link. It must not block for
// long and must not keep the pointer.
type Sink interface {
	Take(loop int, r *devices.Reading) // loop = index into the plant's loops
}
