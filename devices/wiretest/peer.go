package wiretest

import (
	"crypto/tls"
	"encoding/binary"
	"io"
	"net"
	"sync"
	"testing"
)

// Script answers one request: what it returns is sent as it is. A nil answer is
// silence. With hangUp the connection is closed after the bytes.
type Script func(r Request) (answer []byte, hangUp bool)

// Peer answers requests by its script.
type Peer struct {
	mbap bool

	mu     sync.Mutex
	script Script
	n      int
	last   Request
	conns  []io.Closer
	dials  int
	bytes  int
	wg     sync.WaitGroup
}

// NewPeer returns a peer for MBAP frames, or for serial ones.
func NewPeer(mbap bool, s Script) *Peer { return &Peer{mbap: mbap, script: s} }

// Play changes the script.
func (p *Peer) Play(s Script) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.script = s
}

// Last returns the latest request and how many have come.
func (p *Peer) Last() (Request, int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.last, p.n
}

// Dials returns how many connections there have been.
func (p *Peer) Dials() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.dials
}

// Bytes returns how many bytes have come in.
func (p *Peer) Bytes() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.bytes
}

// HangUp closes every open connection.
func (p *Peer) HangUp() {
	p.mu.Lock()
	conns := p.conns
	p.conns = nil
	p.mu.Unlock()
	for _, c := range conns {
		c.Close()
	}
}

// Serve answers on one connection until it ends.
func (p *Peer) Serve(rw io.ReadWriteCloser) {
	p.mu.Lock()
	p.dials++
	p.conns = append(p.conns, rw)
	p.mu.Unlock()
	defer rw.Close()
	buf := make([]byte, 0, 1024)
	part := make([]byte, 512)
	for {
		n, err := rw.Read(part)
		if err != nil {
			return
		}
		p.count(n)
		buf = append(buf, part[:n]...)
		for {
			r, size := p.parse(buf)
			if size == 0 {
				break
			}
			buf = buf[size:]
			answer, hangUp := p.next(r)
			if len(answer) > 0 {
				if _, err := rw.Write(answer); err != nil {
					return
				}
			}
			if hangUp {
				return
			}
		}
	}
}

func (p *Peer) count(n int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.bytes += n
}

func (p *Peer) next(r Request) ([]byte, bool) {
	p.mu.Lock()
	r.N = p.n
	p.n++
	p.last = r
	s := p.script
	p.mu.Unlock()
	return s(r)
}

// parse reads the request at the start of b: register requests in both
// framings, others in MBAP only.
func (p *Peer) parse(b []byte) (Request, int) {
	r := Request{mbap: p.mbap}
	size := 8
	if p.mbap {
		if len(b) < 7 {
			return r, 0
		}
		size = 6 + int(binary.BigEndian.Uint16(b[4:]))
	} else if len(b) >= 2 && b[1] == 0x2B {
		size = 7
	}
	if len(b) < size {
		return r, 0
	}
	r.Raw = append([]byte(nil), b[:size]...)
	pdu := r.Raw[1:]
	r.Unit = r.Raw[0]
	if p.mbap {
		r.Txn, r.Unit, pdu = binary.BigEndian.Uint16(r.Raw), r.Raw[6], r.Raw[7:]
	}
	r.Fn = pdu[0]
	if len(pdu) >= 5 {
		r.Addr, r.Count = binary.BigEndian.Uint16(pdu[1:]), binary.BigEndian.Uint16(pdu[3:])
	}
	return r, size
}

// Listen serves on a loopback port and returns its address. conf may be nil.
// The test's end closes everything and waits.
func (p *Peer) Listen(t testing.TB, conf *tls.Config) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	if conf != nil {
		l = tls.NewListener(l, conf)
	}
	p.wg.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			p.wg.Go(func() { p.Serve(c) })
		}
	})
	t.Cleanup(func() {
		l.Close()
		p.HangUp()
		p.wg.Wait()
	})
	return l.Addr().String()
}

// Port serves on a pseudo terminal and returns the path of its serial port.
func (p *Peer) Port(t testing.TB) string {
	t.Helper()
	far, path := Pty(t)
	p.wg.Go(func() { p.Serve(far) })
	t.Cleanup(func() {
		far.Close()
		p.wg.Wait()
	})
	return path
}

// Parse reads one whole request.
func (p *Peer) Parse(b []byte) Request {
	r, _ := p.parse(b)
	return r
}
