//go:build unix

package devices

import "syscall"

// drainer reads what a socket or port holds, without waiting.
func drainer(s stream, w *wire) func() int {
	sc, ok := s.(syscall.Conn)
	if !ok {
		return nil
	}
	raw, err := sc.SyscallConn()
	if err != nil {
		return nil
	}
	n := 0
	read := func(fd uintptr) bool {
		n, _ = syscall.Read(int(fd), w.buf[w.w:])
		return true
	}
	return func() int {
		n = 0
		if err := raw.Read(read); err != nil {
			return 0
		}
		return n
	}
}
