package poll

import (
	"encoding/binary"
	"io"
	"net"
	"testing"
	"time"

	"ohmdrift/devices"
)

// instant is a connection that answers a read at once, without allocating.
type instant struct {
	net.Conn
	answer [260]byte
	left   []byte
}

func (c *instant) Write(b []byte) (int, error) {
	count := binary.BigEndian.Uint16(b[10:])
	copy(c.answer[:], b[:8])
	binary.BigEndian.PutUint16(c.answer[4:], 3+2*count)
	c.answer[8] = byte(2 * count)
	c.left = c.answer[:9+2*count]
	return len(b), nil
}

func (c *instant) Read(p []byte) (int, error) {
	if len(c.left) == 0 {
		return 0, io.EOF
	}
	n := copy(p, c.left)
	c.left = c.left[n:]
	return n, nil
}

func (c *instant) SetDeadline(time.Time) error { return nil }
func (c *instant) Close() error                { return nil }

type nowhere struct{}

func (nowhere) Take(int, *devices.Reading) {}

// TestPollAllocates nothing beyond what the library makes for a request.
func TestPollAllocates(t *testing.T) {
	cfg := devices.LinkConfig{Name: "mcc1", URL: "tcp://mcc1:502"}
	plan := Plan{Links: []devices.LinkConfig{cfg}, Loops: []Loop{
		{Tag: "TT-1", Unit: 1, Interval: time.Second, Profile: one()},
		{Tag: "TT-2", Unit: 1, Base: 2, Interval: time.Second, Profile: one()},
	}}
	c, err := compile(plan)
	if err != nil {
		t.Fatal(err)
	}
	conn, err := devices.Attach(cfg, &instant{})
	if err != nil {
		t.Fatal(err)
	}
	r := newRunner(cfg, newHost(Options{}))
	r.clock.start(time.Now())
	r.post(&takeover{jobs: jobsOf(&c, 0, nil), sink: nowhere{}})
	r.takeOrders()
	r.dialer.cancel = func() {}
	r.dialer.finished(t.Context(), dialled{conn: conn})
	j := r.queue.first()
	alone := testing.AllocsPerRun(200, func() {
		if _, err := conn.Read(devices.Ask{Unit: 1, Table: devices.Holding, Count: 4, Timeout: time.Second}); err != nil {
			t.Fatal(err)
		}
	})
	serve := func() { r.serve(j, j.slot) }
	for range 200 { // learn the loops first
		serve()
	}
	if whole := testing.AllocsPerRun(200, serve); whole > alone {
		t.Errorf("%v allocations a poll of two loops, its request alone makes %v", whole, alone)
	}
	if st := r.snapshot(); st.Good < 800 {
		t.Errorf("%d good polls; the test measured something else", st.Good)
	}
}
