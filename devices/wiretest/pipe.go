package wiretest

import (
	"io"
	"net"
	"sync"
)

// Pipe serves on an in-memory connection, for use where time is simulated. Like
// a socket it takes what is written though nobody reads yet. wait returns when
// the peer has ended, which closing near brings about.
func (p *Peer) Pipe() (near net.Conn, wait func()) {
	near, far := net.Pipe()
	b := &buffered{far: far, in: newQueue(), out: newQueue()}
	var wg sync.WaitGroup
	wg.Go(b.pumpIn)
	wg.Go(b.pumpOut)
	wg.Go(func() { p.Serve(b) })
	return near, wg.Wait
}

// buffered is the far end of a pipe with room for what is under way.
type buffered struct {
	far     net.Conn
	in, out *queue
}

func (b *buffered) Read(p []byte) (int, error)  { return b.in.read(p) }
func (b *buffered) Write(p []byte) (int, error) { return b.out.write(p) }

// Close lets what is under way arrive before the end.
func (b *buffered) Close() error {
	b.in.close()
	b.out.close()
	return nil
}

func (b *buffered) pumpIn() {
	defer b.in.close()
	part := make([]byte, 512)
	for {
		n, err := b.far.Read(part)
		if err != nil {
			b.out.close()
			return
		}
		if _, err := b.in.write(part[:n]); err != nil {
			return
		}
	}
}

func (b *buffered) pumpOut() {
	defer b.far.Close()
	part := make([]byte, 512)
	for {
		n, err := b.out.read(part)
		if err != nil {
			return
		}
		if _, err := b.far.Write(part[:n]); err != nil {
			return
		}
	}
}

// queue holds bytes that are under way.
type queue struct {
	mu    sync.Mutex
	ready *sync.Cond
	bytes []byte
	ended bool
}

func newQueue() *queue {
	q := &queue{}
	q.ready = sync.NewCond(&q.mu)
	return q
}

func (q *queue) read(p []byte) (int, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	for len(q.bytes) == 0 && !q.ended {
		q.ready.Wait()
	}
	if len(q.bytes) == 0 {
		return 0, io.EOF
	}
	n := copy(p, q.bytes)
	q.bytes = q.bytes[n:]
	return n, nil
}

func (q *queue) write(p []byte) (int, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.ended {
		return 0, io.ErrClosedPipe
	}
	q.bytes = append(q.bytes, p...)
	q.ready.Broadcast()
	return len(p), nil
}

func (q *queue) close() {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.ended = true
	q.ready.Broadcast()
}
