package peers

import (
	"encoding/binary"
	"io"
	"net"
	"sync"
	"sync/atomic"
	"testing"
)

// tap stands between a Modbus/TCP client and its server and counts what passes
// on the wire, from outside of either.
type tap struct {
	addr     string        // where the client connects to
	read     func(request) // told of each request of functions 03 and 04; may be nil
	requests atomic.Int64  // complete requests of functions 03 and 04
	others   atomic.Int64  // complete requests of any other function
	answers  atomic.Int64  // complete answers, exceptions included
}

// request is a read as it was on the wire.
type request struct {
	unit     uint8
	function byte // 3 or 4
	addr     uint16
	count    uint16
}

// newTap listens on a free port and forwards each connection to server until
// the test ends.
func newTap(t *testing.T, server string, read func(request)) *tap {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	tp := &tap{addr: l.Addr().String(), read: read}
	var wg sync.WaitGroup
	open := &connections{}
	wg.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return // closed by the cleanup
			}
			wg.Go(func() { tp.forward(c, server, open) })
		}
	})
	t.Cleanup(func() {
		l.Close()
		open.close()
		wg.Wait()
	})
	return tp
}

func (tp *tap) forward(client net.Conn, addr string, open *connections) {
	defer client.Close()
	server, err := net.Dial("tcp", addr)
	if err != nil {
		return // the client sees its connection close, as without the tap
	}
	defer server.Close()
	open.add(client, server)
	var wg sync.WaitGroup
	wg.Go(func() { pass(server, client, tp.countRequest); server.Close() })
	wg.Go(func() { pass(client, server, func(uint8, []byte) { tp.answers.Add(1) }); client.Close() })
	wg.Wait()
}

func (tp *tap) countRequest(unit uint8, pdu []byte) {
	if len(pdu) != 5 || pdu[0] != 3 && pdu[0] != 4 {
		tp.others.Add(1)
		return
	}
	tp.requests.Add(1)
	if tp.read != nil {
		tp.read(request{unit, pdu[0], binary.BigEndian.Uint16(pdu[1:]), binary.BigEndian.Uint16(pdu[3:])})
	}
}

// pass copies frames from src to dst until either ends, and hands each PDU to
// count before it is passed on, so that no answer is seen before its request
// is counted.
func pass(dst io.Writer, src io.Reader, count func(unit uint8, pdu []byte)) {
	const header = 7 // transaction 2, protocol 2, length 2, unit 1
	for {
		frame := make([]byte, header)
		if _, err := io.ReadFull(src, frame); err != nil {
			return
		}
		length := int(binary.BigEndian.Uint16(frame[4:])) // of unit and PDU
		if length < 2 || length > 254 {
			return // not Modbus: end the connection rather than guess
		}
		frame = append(frame, make([]byte, length-1)...)
		if _, err := io.ReadFull(src, frame[header:]); err != nil {
			return
		}
		count(frame[header-1], frame[header:])
		if _, err := dst.Write(frame); err != nil {
			return
		}
	}
}

// connections remembers what to close at the end.
type connections struct {
	mu     sync.Mutex
	closed bool
	all    []io.Closer
}

func (o *connections) add(cs ...io.Closer) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.all = append(o.all, cs...)
	if o.closed {
		closeAll(cs)
	}
}

func (o *connections) close() {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.closed = true
	closeAll(o.all)
}

func closeAll(cs []io.Closer) {
	for _, c := range cs {
		c.Close()
	}
}

// TestTapCountsFrames sends requests in awkward pieces to a server that echoes,
// and compares with what was sent.
func TestTapCountsFrames(t *testing.T) {
	reads := make(chan request, 10)
	tp := newTap(t, echoServer(t), func(r request) { reads <- r })
	c, err := net.Dial("tcp", tp.addr)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	var wire []byte
	for _, pdu := range [][]byte{{3, 0, 0, 0, 2}, {4, 0, 0, 0, 1}, {6, 0, 0, 0, 1}, {3, 0, 9, 0, 125}, {0x2B, 14, 1, 0}} {
		wire = binary.BigEndian.AppendUint32(wire, 7<<16) // transaction 7, protocol 0
		wire = binary.BigEndian.AppendUint16(wire, uint16(1+len(pdu)))
		wire = append(append(wire, 1), pdu...)
	}
	for _, piece := range [][]byte{wire[:3], wire[3:20], wire[20:21], wire[21:]} {
		if _, err := c.Write(piece); err != nil {
			t.Fatal(err)
		}
	}
	echo := make([]byte, len(wire))
	if _, err := io.ReadFull(c, echo); err != nil {
		t.Fatal(err)
	}
	if string(echo) != string(wire) {
		t.Errorf("the tap changed what passed: got % X, want % X", echo, wire)
	}
	if r, o, a := tp.requests.Load(), tp.others.Load(), tp.answers.Load(); r != 3 || o != 2 || a != 5 {
		t.Errorf("counted %d reads, %d others, %d answers; sent 3 reads, 2 others, 5 in all", r, o, a)
	}
	for _, want := range []request{{1, 3, 0, 2}, {1, 4, 0, 1}, {1, 3, 9, 125}} {
		if got := <-reads; got != want {
			t.Errorf("saw %+v, want %+v", got, want)
		}
	}
}

// TestTapEndsOnGarbage: a length that no Modbus frame has ends the connection
// uncounted.
func TestTapEndsOnGarbage(t *testing.T) {
	tp := newTap(t, echoServer(t), nil)
	c, err := net.Dial("tcp", tp.addr)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if _, err := c.Write([]byte{0, 1, 0, 0, 0xFF, 0xFF, 1, 3}); err != nil {
		t.Fatal(err)
	}
	if n, err := c.Read(make([]byte, 1)); err == nil {
		t.Errorf("read %d byte after a bad length, want the end of the connection", n)
	}
	if r := tp.requests.Load() + tp.others.Load(); r != 0 {
		t.Errorf("counted %d requests, want none", r)
	}
}

func echoServer(t *testing.T) (addr string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	wg.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			wg.Go(func() {
				defer c.Close()
				_, _ = io.Copy(c, c) // until the tap closes it
			})
		}
	})
	t.Cleanup(func() {
		l.Close()
		wg.Wait()
	})
	return l.Addr().String()
}
