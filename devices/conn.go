package devices

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"time"

	"github.com/simonvetter/modbus"
)

// Conn is one open connection to the units of a link. It is not safe for
// concurrent use, except Interrupt: one goroutine owns a link.
type Conn struct {
	cfg       LinkConfig
	transport Transport
	address   string
	wire      *wire
	client    *modbus.ModbusClient
	codec     codec
	stale     staleness
	late      [4]uint64 // units whose answer came after its time, as bits
	strays    uint64
	settle    bool   // the line must fall silent before the next request
	txn       uint16 // of our own requests
}

// Ask is one read of a unit's registers.
type Ask struct {
	Unit    uint8
	Table   Table
	Addr    uint16 // wire address
	Count   uint16 // registers that are needed
	Max     uint16 // registers that may be asked for; on serial frames the number varies up to it, which tells a late answer from this one
	Timeout time.Duration
}

// Open connects to the first path of a link: it dials or opens the serial port
// and waits the link's pause after connect.
func Open(ctx context.Context, c LinkConfig) (*Conn, error) { return OpenPath(ctx, c, 0) }

// OpenPath connects to path 0, the link's URL, or path 1, its second URL.
func OpenPath(ctx context.Context, c LinkConfig, path int) (*Conn, error) {
	c = c.WithDefaults()
	u := c.URL
	if path == 1 && c.Second != "" {
		u = c.Second
	}
	t, addr, err := ParseURL(u)
	if err != nil {
		return nil, err
	}
	s, err := dial(ctx, t, addr, c)
	if err != nil {
		return nil, fmt.Errorf("link %s: %w", c.Name, err)
	}
	conn, err := newConn(c, t, addr, s)
	if err != nil {
		s.Close()
		return nil, err
	}
	if err := wait(ctx, c.AfterDial); err != nil {
		conn.Close()
		return nil, err
	}
	return conn, nil
}

// Attach makes a Conn of an open connection, in the frames of the link's
// transport.
func Attach(c LinkConfig, s net.Conn) (*Conn, error) {
	c = c.WithDefaults()
	t, addr, err := ParseURL(c.URL)
	if err != nil {
		return nil, err
	}
	return newConn(c, t, addr, s)
}

func newConn(c LinkConfig, t Transport, addr string, s stream) (*Conn, error) {
	conn := &Conn{cfg: c, transport: t, address: addr}
	w := &wire{s: s, mbap: !t.Ambiguous(), speed: uint(c.Baud), noted: conn.noted}
	switch {
	case t == RTUOverTCP:
		w.speed = 1_000_000 // the gateway keeps the pauses of its line, not we
	case c.Baud == 19200:
		w.speed-- // the codec has the fixed 1.75 ms begin here, the standard above 19200
	}
	if !w.mbap {
		w.drain = drainer(s, w)
	}
	client, err := newCodec(w)
	if err != nil {
		return nil, err
	}
	conn.wire, conn.client, conn.codec = w, client, client
	return conn, nil
}

func wait(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Address returns host:port or the path of the serial port.
func (c *Conn) Address() string { return c.address }

// Transport returns how frames travel on the connection.
func (c *Conn) Transport() Transport { return c.transport }

// Bytes returns how many bytes went out and came in.
func (c *Conn) Bytes() (out, in uint64) { return c.wire.bytesOut, c.wire.bytesIn }

// Strays returns how many answers came late, twice or from units not asked.
func (c *Conn) Strays() uint64 { return c.strays }

// AnsweredLate reports whether an answer of unit came after its time since the
// last call: the unit is alive, its timeout too short.
func (c *Conn) AnsweredLate(unit uint8) bool {
	bit := uint64(1) << (unit & 63)
	was := c.late[unit>>6]&bit != 0
	c.late[unit>>6] &^= bit
	return was
}

// noted takes what the wire set aside.
func (c *Conn) noted(unit, fn uint8, count uint16) {
	c.strays++
	c.late[unit>>6] |= 1 << (unit & 63)
	if c.transport.Ambiguous() {
		c.stale.stray(unit, fn, count, time.Now().Add(c.lateWait()))
	}
}

// lateWait is how long after its timeout an answer may still come. A unit that
// cannot be asked another length is left alone so long.
func (c *Conn) lateWait() time.Duration { return max(3*c.cfg.Timeout, 2*time.Second) }

// Read reads the registers of one request and returns their bytes, at least
// a.Count registers. An error is a *RequestError.
func (c *Conn) Read(a Ask) ([]byte, error) {
	if a.Max < a.Count {
		a.Max = a.Count
	}
	if !c.transport.Ambiguous() {
		return c.read(&a, a.Count)
	}
	count, ok := c.stale.pick(a.Unit, uint8(a.Table), a.Count, a.Max, time.Now())
	if !ok {
		if err := c.clear(&a); err != nil {
			return nil, err
		}
		count = a.Count
	}
	return c.read(&a, count)
}

// clear makes sure that no late answer can be mistaken for the one to a: it
// asks for a shorter piece of the block, whose answer comes after all that were
// still to come. Where the unit has no such piece there is nothing but waiting.
func (c *Conn) clear(a *Ask) error {
	unsynced := &RequestError{Fault: FaultUnsynced, Link: c.address, Unit: a.Unit, Table: a.Table, Addr: a.Addr, Count: a.Count}
	piece, ok := c.stale.piece(a.Unit, uint8(a.Table), a.Count)
	if !ok {
		return unsynced
	}
	_, err := c.read(a, piece)
	if FaultOf(err) == FaultConfiguration {
		c.stale.noPiece(a.Unit)
		return unsynced
	}
	return err
}

func (c *Conn) read(a *Ask, count uint16) ([]byte, error) {
	if c.settle {
		c.quiet()
	}
	start := time.Now()
	c.wire.timeout = a.Timeout
	if a.Timeout <= 0 {
		c.wire.timeout = c.cfg.Timeout
	}
	c.wire.timeout += c.cfg.WireTime(count)
	t := modbus.HOLDING_REGISTER
	if a.Table == Input {
		t = modbus.INPUT_REGISTER
	}
	err := c.codec.SetUnitId(a.Unit)
	var b []byte
	if err == nil {
		b, err = c.codec.ReadRawBytes(a.Addr, 2*count, t)
	}
	if err == nil {
		c.stale.answered(a.Unit)
		return b, nil
	}
	return nil, c.failed(a, count, err, time.Since(start))
}

// failed sorts what went wrong and keeps in mind what may still come.
func (c *Conn) failed(a *Ask, count uint16, err error, took time.Duration) error {
	if c.wire.err != nil {
		err = c.wire.err
	}
	e := &RequestError{
		Link: c.address, Unit: a.Unit, Table: a.Table, Addr: a.Addr, Count: count,
		Code: c.wire.code, Took: took, Cause: err,
	}
	e.Fault = c.sort(e)
	if c.transport.Ambiguous() {
		c.remember(e, uint8(a.Table))
	}
	return e
}

func (c *Conn) sort(e *RequestError) Fault {
	var g *garbled
	switch {
	case e.Code != 0 && c.wire.err == nil:
		return exceptionFault(e.Code)
	case errors.As(e.Cause, &g):
		return FaultGarbled
	case e.Cause == errSilent:
		return FaultTimeout
	case e.Cause == ErrStopped:
		return FaultLost
	case isRefusal(e.Cause):
		return FaultRefused
	case errors.As(e.Cause, new(modbus.Error)):
		return FaultGarbled // the codec found what the wire let through
	case e.Cause == io.EOF:
		e.Cause = errors.New("the peer closed the connection; is it out of connections?")
	}
	return FaultLost
}

// remember notes on serial frames which answers may still come.
func (c *Conn) remember(e *RequestError, fn uint8) {
	until := time.Now().Add(c.lateWait())
	switch e.Fault {
	case FaultTimeout, FaultGarbled:
		c.stale.unanswered(e.Unit, fn, e.Count, until)
	case FaultNone, FaultConfiguration, FaultDevice, FaultBusy, FaultPath:
		// An exception does not say which request it answers.
		if c.stale.doubtful(e.Unit) {
			c.stale.unanswered(e.Unit, fn, e.Count, until)
		}
	}
	c.settle = e.Fault == FaultGarbled
}

// quiet waits until a line that brought garbage has been silent for a while,
// at most half a second.
func (c *Conn) quiet() {
	c.settle = false
	end := time.Now().Add(500 * time.Millisecond)
	var scrap [256]byte
	for time.Now().Before(end) {
		if c.wire.s.SetReadDeadline(time.Now().Add(20*time.Millisecond)) != nil {
			return
		}
		if _, err := c.wire.s.Read(scrap[:]); err != nil {
			return // silent, or lost: the request will say
		}
	}
}

// Interrupt ends a running request and refuses later ones, with ErrStopped. It
// may be called from any goroutine.
func (c *Conn) Interrupt() {
	c.wire.off.Store(true)
	c.wire.s.SetDeadline(time.Unix(1, 0))
}

// Close closes the connection.
func (c *Conn) Close() error {
	if err := c.client.Close(); err != nil && !errors.Is(err, os.ErrClosed) && !errors.Is(err, net.ErrClosed) {
		return err
	}
	return nil
}
