package devices

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"sync/atomic"
	"time"
)

// stream is an open socket or serial port.
type stream interface {
	io.ReadWriteCloser
	SetDeadline(time.Time) error
	SetReadDeadline(time.Time) error
}

// wire stands between the codec and the stream. Outwards it is the guard: it
// lets one request at a time through and remembers what was asked. Inwards it
// hands the codec only the answer to that request: late, double and foreign
// frames are set aside and noted, garbage ends the request.
//
//	codec ─ Write ─ guard ─ drain what lies unread ─ stream
//	codec ─ Read ── one whole matching frame ─────── stream
type wire struct {
	s       stream
	mbap    bool
	speed   uint // baud, for the pauses between serial frames
	drain   func() int
	noted   func(unit, fn uint8, count uint16) // a frame that answers nothing in flight
	timeout time.Duration                      // of the request in flight
	off     atomic.Bool
	idOK    bool // 43/14 may leave

	ask   asked
	sent  [16]byte // the request, to know its echo
	nsent int
	err   error // why the request in flight failed
	code  uint8 // exception code of the answer
	got   int   // bytes of the answer handed to the codec
	ready int   // end of the answer in buf; 0 = none yet
	r, w  int
	buf   [1024]byte

	bytesOut, bytesIn, refused uint64
}

// ErrFraming means that a TCP stream does not carry whole Modbus frames any
// more; only a new connection finds them again.
var ErrFraming = errors.New("the stream of answers has lost its frames")

// ErrStopped is what a request ends with that Interrupt has ended.
var ErrStopped = errors.New("stopped")

// What a wire can fail with, beside what the stream says.
var (
	errIdle   = errors.New("nothing was asked")
	errSilent = fmt.Errorf("no answer: %w", os.ErrDeadlineExceeded)
)

// garbled is an answer that is not one.
type garbled struct{ text string }

func (g *garbled) Error() string { return g.text }

// Write sends one request of the codec.
func (w *wire) Write(b []byte) (int, error) {
	w.err, w.code, w.got, w.ready, w.nsent = nil, 0, 0, 0, 0
	a, err := inspect(b, w.mbap, w.idOK)
	if err != nil {
		w.refused++
		return 0, w.fail(err)
	}
	if err := w.s.SetDeadline(time.Now().Add(w.timeout)); err != nil {
		return 0, w.fail(err)
	}
	if w.off.Load() {
		return 0, w.fail(ErrStopped)
	}
	if !w.mbap {
		w.empty()
	}
	w.ask, w.nsent = a, copy(w.sent[:], b)
	n, err := w.s.Write(b)
	w.bytesOut += uint64(n)
	if err != nil {
		return n, w.fail(err)
	}
	return n, nil
}

// Read hands out the answer; the first call waits for it.
func (w *wire) Read(p []byte) (int, error) {
	if w.err != nil {
		return 0, w.err
	}
	if w.nsent == 0 {
		return 0, errIdle
	}
	for w.ready == 0 {
		if err := w.match(); err != nil {
			return 0, w.fail(err)
		}
		if w.ready == 0 {
			if err := w.fill(); err != nil {
				return 0, w.fail(err)
			}
		}
	}
	n := copy(p, w.buf[w.r:w.ready])
	w.r += n
	if w.r == w.ready {
		w.nsent = 0
	}
	return n, nil
}

func (w *wire) fail(err error) error {
	if w.err == nil {
		w.err = err
	}
	return w.err
}

// fill waits for more bytes.
func (w *wire) fill() error {
	if w.r > 0 {
		w.w = copy(w.buf[:], w.buf[w.r:w.w])
		w.r = 0
	}
	if w.w == len(w.buf) {
		return &garbled{"more bytes than any answer has"}
	}
	n, err := w.s.Read(w.buf[w.w:])
	w.w += n
	w.bytesIn += uint64(n)
	switch {
	case n > 0:
		return nil
	case err == nil:
		return io.ErrNoProgress
	case errors.Is(err, os.ErrDeadlineExceeded) && w.off.Load():
		return ErrStopped
	case errors.Is(err, os.ErrDeadlineExceeded) && w.w > w.r && w.mbap:
		return ErrFraming
	case errors.Is(err, os.ErrDeadlineExceeded) && w.w > w.r:
		return &garbled{fmt.Sprintf("the answer stopped after %d bytes", w.w-w.r)}
	case errors.Is(err, os.ErrDeadlineExceeded):
		return errSilent
	}
	return err
}

// match looks for the answer at the start of what has come, setting aside the
// frames before it.
func (w *wire) match() error {
	if w.mbap {
		return w.matchMBAP()
	}
	return w.matchRTU()
}

// empty throws away what lies unread before a serial request: answers that came
// late or twice. On TCP what lies unread keeps its place, the transaction id
// tells it from the answer.
func (w *wire) empty() {
	if w.drain != nil {
		w.drainAll()
	}
	if w.w > w.r {
		w.setAside()
	}
	w.r, w.w = 0, 0
}

func (w *wire) drainAll() {
	if w.r > 0 {
		w.w = copy(w.buf[:], w.buf[w.r:w.w])
		w.r = 0
	}
	for w.w < len(w.buf) {
		n := w.drain()
		if n <= 0 {
			return
		}
		w.w += n
		w.bytesIn += uint64(n)
	}
	w.setAside() // a whole buffer: take it as garbage and look for more
	w.r, w.w = 0, 0
}

// setAside notes the whole frames in what lies unread.
func (w *wire) setAside() {
	for w.r < w.w {
		n := w.frameLen(w.buf[w.r:w.w])
		if n <= 0 {
			return
		}
		w.note(w.buf[w.r : w.r+n])
		w.r += n
	}
}

// note reports a frame that answers nothing in flight.
func (w *wire) note(frame []byte) {
	if w.noted == nil {
		return
	}
	if w.mbap {
		frame = frame[6:]
	}
	var count uint16
	if frame[1]&0x80 == 0 && len(frame) > 2 {
		count = uint16(frame[2]) / 2
	}
	w.noted(frame[0], frame[1], count)
}

// frameLen returns the length of the whole frame at the start of b, 0 when
// more bytes are needed, −1 when b cannot begin a frame.
func (w *wire) frameLen(b []byte) int {
	if w.mbap {
		return mbapLen(b)
	}
	return rtuLen(b)
}

// mbapLen trusts the header only as far as the standard goes: protocol 0 and 2
// to 254 bytes after the length.
func mbapLen(b []byte) int {
	if len(b) < 7 {
		return 0
	}
	n := int(binary.BigEndian.Uint16(b[4:]))
	switch {
	case b[2] != 0 || b[3] != 0 || n < 2 || n > 254:
		return -1
	case len(b) < 6+n:
		return 0
	}
	return 6 + n
}

// rtuLen knows the answers that this package may meet: registers and
// exceptions. The CRC decides whether it is one.
func rtuLen(b []byte) int {
	if len(b) < 5 {
		return 0
	}
	n := 0
	switch {
	case b[1]&0x80 != 0:
		n = 5
	case b[1] == fnHolding || b[1] == fnInput:
		n = 5 + int(b[2])
	default:
		return -1
	}
	if len(b) < n {
		return 0
	}
	if crc16(b[:n]) != 0 {
		return -1
	}
	return n
}

// SetDeadline does nothing: the wire sets one deadline a request, since one
// client-wide timeout cannot fit a bus with long and short answers.
func (w *wire) SetDeadline(time.Time) error { return nil }

// SetReadDeadline does nothing, see SetDeadline.
func (w *wire) SetReadDeadline(time.Time) error { return nil }

// SetWriteDeadline does nothing, see SetDeadline.
func (w *wire) SetWriteDeadline(time.Time) error { return nil }

// LocalAddr is there for net.Conn.
func (w *wire) LocalAddr() net.Addr { return &net.TCPAddr{} }

// RemoteAddr is there for net.Conn.
func (w *wire) RemoteAddr() net.Addr { return &net.TCPAddr{} }

// Close closes the stream.
func (w *wire) Close() error { return w.s.Close() }
