//go:build !unix

package devices

import "time"

// drainer reads what a socket holds, waiting a millisecond for it: there is no
// reading without waiting here.
func drainer(s stream, w *wire) func() int {
	return func() int {
		if s.SetReadDeadline(time.Now().Add(time.Millisecond)) != nil {
			return 0
		}
		n, _ := s.Read(w.buf[w.w:])
		s.SetDeadline(time.Now().Add(w.timeout))
		return n
	}
}
