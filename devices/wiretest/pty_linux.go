package wiretest

import (
	"fmt"
	"os"
	"testing"

	"golang.org/x/sys/unix"
)

// Pty opens a pseudo terminal in raw mode: far is the end of the device, path
// the serial port of the link.
func Pty(t testing.TB) (far *os.File, path string) {
	t.Helper()
	far, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { far.Close() })
	raw, err := far.SyscallConn()
	if err != nil {
		t.Fatal(err)
	}
	var n int
	if cerr := raw.Control(func(fd uintptr) {
		if err = unix.IoctlSetPointerInt(int(fd), unix.TIOCSPTLCK, 0); err != nil {
			return
		}
		n, err = unix.IoctlGetInt(int(fd), unix.TIOCGPTN)
	}); cerr != nil || err != nil {
		t.Fatal(cerr, err)
	}
	path = fmt.Sprintf("/dev/pts/%d", n)
	// Raw from the start, and open for as long as the test: with no one on the
	// port the far end would see a hang-up.
	hold, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { hold.Close() })
	rawMode(t, hold)
	return far, path
}

func rawMode(t testing.TB, f *os.File) {
	t.Helper()
	raw, err := f.SyscallConn()
	if err != nil {
		t.Fatal(err)
	}
	if cerr := raw.Control(func(fd uintptr) {
		var m *unix.Termios
		if m, err = unix.IoctlGetTermios(int(fd), unix.TCGETS); err != nil {
			return
		}
		m.Iflag, m.Oflag, m.Lflag = 0, 0, 0
		m.Cc[unix.VMIN], m.Cc[unix.VTIME] = 1, 0
		err = unix.IoctlSetTermios(int(fd), unix.TCSETS, m)
	}); cerr != nil || err != nil {
		t.Fatal(cerr, err)
	}
}

// UseDescriptors opens files until the next one has a number of at least n.
func UseDescriptors(t testing.TB, n int) {
	t.Helper()
	var limit unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_NOFILE, &limit); err != nil {
		t.Fatal(err)
	}
	if limit.Cur < uint64(n+50) {
		limit.Cur = min(uint64(n+50), limit.Max)
		if err := unix.Setrlimit(unix.RLIMIT_NOFILE, &limit); err != nil {
			t.Fatal(err)
		}
	}
	for {
		f, err := os.Open("/dev/null")
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { f.Close() })
		if int(f.Fd()) >= n {
			return
		}
	}
}
