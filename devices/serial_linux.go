package devices

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// bauds maps the speeds of common adapters to their termios constants.
var bauds = map[int]uint32{
	1200: unix.B1200, 2400: unix.B2400, 4800: unix.B4800, 9600: unix.B9600, 19200: unix.B19200,
	38400: unix.B38400, 57600: unix.B57600, 115200: unix.B115200, 230400: unix.B230400,
	460800: unix.B460800, 921600: unix.B921600,
}

// openSerial opens a port in raw mode for the runtime's own poller: deadlines
// work, no thread blocks, a hung-up port is an error, and file descriptors may
// have any number. The port is locked, so that a second master on this machine
// is refused.
func openSerial(path string, c LinkConfig) (stream, error) {
	f, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, serialError(path, err)
	}
	if err := control(f, func(fd int) error { return setUp(fd, c) }); err != nil {
		f.Close()
		return nil, fmt.Errorf("serial port %s: %w", path, err)
	}
	return f, nil
}

// control runs do on the descriptor without putting it into blocking mode, as
// File.Fd might.
func control(f *os.File, do func(fd int) error) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var done error
	if err := raw.Control(func(fd uintptr) { done = do(int(fd)) }); err != nil {
		return err
	}
	return done
}

func serialError(path string, err error) error {
	switch {
	case errors.Is(err, os.ErrNotExist):
		return fmt.Errorf("serial port %s: not there; is the adapter plugged in? names under /dev/serial/by-id survive re-plugging", path)
	case errors.Is(err, os.ErrPermission):
		return fmt.Errorf("serial port %s: no permission; the user of this program must be in the group of the port (often dialout)", path)
	}
	return fmt.Errorf("serial port %s: %w", path, err)
}

func setUp(fd int, c LinkConfig) error {
	if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); err != nil {
		return errors.New("in use by another program; a serial line has one master")
	}
	speed, ok := bauds[c.Baud]
	if !ok {
		return fmt.Errorf("%d baud is not supported", c.Baud)
	}
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return fmt.Errorf("not a serial port: %w", err)
	}
	t.Iflag, t.Oflag, t.Lflag = 0, 0, 0
	t.Cflag = unix.CREAD | unix.CLOCAL | speed
	t.Ispeed, t.Ospeed = speed, speed
	switch c.DataBits {
	case 7:
		t.Cflag |= unix.CS7
	default:
		t.Cflag |= unix.CS8
	}
	if c.StopBits == 2 {
		t.Cflag |= unix.CSTOPB
	}
	switch c.Parity {
	case "even":
		t.Cflag |= unix.PARENB
		t.Iflag |= unix.INPCK
	case "odd":
		t.Cflag |= unix.PARENB | unix.PARODD
		t.Iflag |= unix.INPCK
	}
	// One byte is enough to wake a reader; with zero a read of an idle port
	// would look like the end of a file.
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, t); err != nil {
		return fmt.Errorf("set line parameters: %w", err)
	}
	return nil
}
