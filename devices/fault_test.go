package devices

import (
	"encoding/binary"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"ohmdrift/devices/wiretest"
)

// wrong is a peer that is broken in one way. Its registers hold the number of
// the request, so that an answer to another request is seen to be one.
type wrong struct {
	name   string
	script func() wiretest.Script
	want   map[Transport]Fault // of the first request
}

// How long a request waits: not long where nothing will come, long enough for a
// busy machine where something will.
const (
	patience = 40 * time.Millisecond
	plenty   = 2 * time.Second
)

// first breaks the answer to the first request only.
func first(broken func(r wiretest.Request) ([]byte, bool)) func() wiretest.Script {
	return func() wiretest.Script {
		return func(r wiretest.Request) ([]byte, bool) {
			if r.N == 0 {
				return broken(r)
			}
			return sound(r)
		}
	}
}

// late answers the first n requests when the one after has come, each time in
// front of its own answer.
func late(n int) func() wiretest.Script {
	return func() wiretest.Script {
		var owed []byte
		return func(r wiretest.Request) ([]byte, bool) {
			if r.N < n {
				owed = append(owed, r.Registers(uint16(r.N))...)
				return nil, false
			}
			answer := append(owed, r.Registers(uint16(r.N))...)
			owed = nil
			return answer, false
		}
	}
}

// behind answers every request with a delay of one for ever: the reply to each
// comes when the next has arrived.
func behind() wiretest.Script {
	var owed []byte
	return func(r wiretest.Request) ([]byte, bool) {
		answer := owed
		owed = r.Registers(uint16(r.N))
		return answer, false
	}
}

func all(f Fault) map[Transport]Fault {
	return map[Transport]Fault{TCP: f, TLS: f, RTU: f, RTUOverTCP: f}
}

func wrongs() []wrong {
	return []wrong{
		{"sound", func() wiretest.Script { return sound }, all(FaultNone)},
		{"late", late(1), all(FaultTimeout)},
		{"late twice", late(2), all(FaultTimeout)},
		{"always one behind", behind, all(FaultTimeout)},
		{"double", first(func(r wiretest.Request) ([]byte, bool) {
			b := r.Registers(uint16(r.N))
			return append(b, b...), false
		}), all(FaultNone)},
		{
			"truncated", first(func(r wiretest.Request) ([]byte, bool) { return r.Registers(0)[:6], false }),
			map[Transport]Fault{TCP: FaultLost, TLS: FaultLost, RTU: FaultGarbled, RTUOverTCP: FaultGarbled},
		},
		{"bit flipped in the header", first(func(r wiretest.Request) ([]byte, bool) {
			b := r.Registers(0)
			b[4] ^= 0x80 // MBAP: length; RTU: data
			return b, false
		}), map[Transport]Fault{TCP: FaultLost, TLS: FaultLost, RTU: FaultGarbled, RTUOverTCP: FaultGarbled}},
		{"bit flipped in the function", first(func(r wiretest.Request) ([]byte, bool) {
			return r.Frame(append([]byte{r.Fn ^ 7, byte(2 * r.Count)}, make([]byte, 2*r.Count)...)), false
		}), map[Transport]Fault{TCP: FaultGarbled, TLS: FaultGarbled, RTU: FaultTimeout, RTUOverTCP: FaultTimeout}},
		{"wrong id", first(func(r wiretest.Request) ([]byte, bool) {
			return r.FrameOf(r.Unit, r.Txn+1, r.Registers(0)[len(r.Registers(0))-2-2*int(r.Count):]), false
		}), map[Transport]Fault{TCP: FaultTimeout, TLS: FaultTimeout}},
		{"wrong unit", first(func(r wiretest.Request) ([]byte, bool) {
			return r.FrameOf(r.Unit+1, r.Txn, append([]byte{r.Fn, byte(2 * r.Count)}, make([]byte, 2*r.Count)...)), false
		}), map[Transport]Fault{TCP: FaultGarbled, TLS: FaultGarbled, RTU: FaultTimeout, RTUOverTCP: FaultTimeout}},
		{"wrong length", first(func(r wiretest.Request) ([]byte, bool) {
			return r.Frame(append([]byte{r.Fn, byte(2*r.Count - 2)}, make([]byte, 2*r.Count-2)...)), false
		}), map[Transport]Fault{TCP: FaultGarbled, TLS: FaultGarbled, RTU: FaultTimeout, RTUOverTCP: FaultTimeout}},
		{"exception 02", first(func(r wiretest.Request) ([]byte, bool) { return r.Exception(2), false }), all(FaultConfiguration)},
		{"exception 04", first(func(r wiretest.Request) ([]byte, bool) { return r.Exception(4), false }), all(FaultDevice)},
		{"exception 06", first(func(r wiretest.Request) ([]byte, bool) { return r.Exception(6), false }), all(FaultBusy)},
		{"exception 0B", first(func(r wiretest.Request) ([]byte, bool) { return r.Exception(11), false }), all(FaultPath)},
		{"exception 0B of the gateway itself", first(func(r wiretest.Request) ([]byte, bool) {
			return r.FrameOf(0xFF, r.Txn, []byte{r.Fn | 0x80, 11}), false
		}), map[Transport]Fault{TCP: FaultPath, TLS: FaultPath, RTU: FaultTimeout, RTUOverTCP: FaultTimeout}},
		{"exception 04 under unit 255", first(func(r wiretest.Request) ([]byte, bool) {
			return r.FrameOf(0xFF, r.Txn, []byte{r.Fn | 0x80, 4}), false
		}), map[Transport]Fault{TCP: FaultGarbled, TLS: FaultGarbled}},
		{"silent", first(func(wiretest.Request) ([]byte, bool) { return nil, false }), all(FaultTimeout)},
		{
			"noise", first(func(wiretest.Request) ([]byte, bool) { return []byte{0xFF, 0x00, 0x55, 0xAA, 0x12, 0x34, 0x99}, false }),
			map[Transport]Fault{TCP: FaultLost, TLS: FaultLost, RTU: FaultGarbled, RTUOverTCP: FaultGarbled},
		},
		{"echo of the request", first(func(r wiretest.Request) ([]byte, bool) {
			return append(append([]byte(nil), r.Raw...), r.Registers(0)...), false
		}), map[Transport]Fault{RTU: FaultNone, RTUOverTCP: FaultNone}},
		{
			"accept and close", first(func(wiretest.Request) ([]byte, bool) { return nil, true }),
			map[Transport]Fault{TCP: FaultLost, TLS: FaultLost, RTUOverTCP: FaultLost},
		},
		{
			"close inside an answer", first(func(r wiretest.Request) ([]byte, bool) { return r.Registers(0)[:5], true }),
			map[Transport]Fault{TCP: FaultLost, TLS: FaultLost, RTUOverTCP: FaultLost},
		},
	}
}

// TestFaults plays every fault on every transport. The first request must be
// sorted right, and no request after it may take a value that is not its own.
func TestFaults(t *testing.T) {
	for _, w := range wrongs() {
		everywhere(t, func(t *testing.T, p *wiretest.Peer, cfg LinkConfig) {
			tr, _, _ := ParseURL(cfg.URL)
			want, ok := w.want[tr]
			if !ok {
				return // the fault cannot happen on this transport
			}
			t.Run(w.name, func(t *testing.T) {
				t.Parallel()
				p.Play(w.script())
				c := open(t, cfg)
				for i := range 6 {
					timeout := patience // an answer cut short is known by its timeout alone
					if i == 0 && want != FaultTimeout && w.name != "truncated" {
						timeout = plenty // what must come must not be missed
					}
					b, err := c.Read(Ask{Unit: 5, Table: Input, Addr: 10, Count: 4, Timeout: timeout})
					if i == 0 && FaultOf(err) != want {
						t.Errorf("first request: %v (%v), want %v", FaultOf(err), err, want)
					}
					if err == nil {
						own(t, p, b)
					}
					if FaultOf(err) == FaultLost {
						c.Close()
						c = open(t, cfg)
					}
				}
			})
		})
	}
}

// own checks that registers hold the number of the latest request.
func own(t *testing.T, p *wiretest.Peer, b []byte) {
	t.Helper()
	last, _ := p.Last()
	if got := binary.BigEndian.Uint16(b); int(got) != last.N {
		t.Errorf("took the answer to request %d for that to request %d", got, last.N)
	}
}

// TestLateAnswerOfAnotherUnit: what a dead unit says too late must not cost the
// unit that is asked meanwhile its value.
func TestLateAnswerOfAnotherUnit(t *testing.T) {
	everywhere(t, func(t *testing.T, p *wiretest.Peer, cfg LinkConfig) {
		p.Play(late(1)())
		c := open(t, cfg)
		if _, err := c.Read(Ask{Unit: 5, Table: Holding, Count: 4, Timeout: patience}); FaultOf(err) != FaultTimeout {
			t.Fatalf("%v; want a timeout", err)
		}
		b, err := c.Read(Ask{Unit: 6, Table: Holding, Count: 4, Timeout: plenty})
		if err != nil {
			t.Fatalf("the neighbour of a late unit: %v", err)
		}
		own(t, p, b)
		if !c.AnsweredLate(5) || c.AnsweredLate(5) || c.AnsweredLate(6) {
			t.Error("the late answer of unit 5 was not noted once")
		}
	})
}

// TestStaleReplies is the regression test of the worst that a naive link does:
// after a timeout on serial frames it takes each answer for the next request,
// for ever, without an error. Whatever the block allows (a longer read, a
// shorter piece, or nothing but waiting), no value may be one that was not
// asked for.
func TestStaleReplies(t *testing.T) {
	shapes := []struct {
		name       string
		count, max uint16
	}{
		{"a declared block that goes on", 4, 6},
		{"a block of fixed length", 4, 4},
		{"one register", 1, 1},
	}
	for _, s := range shapes {
		everywhere(t, func(t *testing.T, p *wiretest.Peer, cfg LinkConfig) {
			t.Run(s.name, func(t *testing.T) {
				t.Parallel()
				p.Play(late(3)())
				c := open(t, cfg)
				good := 0
				for range 20 {
					b, err := c.Read(Ask{Unit: 5, Table: Input, Addr: 10, Count: s.count, Max: s.max})
					if err == nil {
						good++
						own(t, p, b)
					}
				}
				if s.count > 1 && good < 12 {
					t.Errorf("%d of 20 good; want the unit back soon after its late answers", good)
				}
			})
		})
	}
}

// TestWaitsWhereNothingTellsApart: a unit with one register and no more cannot
// be asked differently. After a timeout it is left alone until a late answer
// cannot come any more, while its neighbours go on.
func TestWaitsWhereNothingTellsApart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := wiretest.NewPeer(false, func(r wiretest.Request) ([]byte, bool) {
			if r.N == 0 {
				return nil, false
			}
			return sound(r)
		})
		c := pipe(t, p, LinkConfig{URL: "rtuovertcp://larkfield:1", Timeout: time.Second})
		ask := Ask{Unit: 5, Table: Input, Count: 1}
		if _, err := c.Read(ask); FaultOf(err) != FaultTimeout {
			t.Fatal(err)
		}
		if _, err := c.Read(ask); FaultOf(err) != FaultUnsynced {
			t.Errorf("asked again at once: %v; want unsynced", err)
		}
		if _, err := c.Read(Ask{Unit: 6, Table: Input, Count: 1}); err != nil {
			t.Errorf("the neighbour: %v", err)
		}
		<-time.NewTimer(c.lateWait()).C
		b, err := c.Read(ask)
		if err != nil {
			t.Fatalf("after the wait: %v", err)
		}
		own(t, p, b)
	})
}

// pipe connects a link to a peer without sockets, for use in a bubble.
func pipe(t *testing.T, p *wiretest.Peer, cfg LinkConfig) *Conn {
	t.Helper()
	near, wait := p.Pipe()
	c, err := Attach(cfg, near)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		c.Close()
		wait()
	})
	return c
}

// TestHungUpPort: a port whose other end has gone is an error at once, and does
// not spin until the timeout.
func TestHungUpPort(t *testing.T) {
	far, path := wiretest.Pty(t)
	cfg := LinkConfig{URL: "rtu://" + path, Baud: 115200, Parity: "none", Timeout: time.Hour}
	c := open(t, cfg)
	far.Close()
	_, err := c.Read(Ask{Unit: 1, Table: Holding, Count: 2})
	if FaultOf(err) != FaultLost {
		t.Errorf("%v; want the connection lost", err)
	}
	if _, err := Open(t.Context(), LinkConfig{Name: "mcc2", URL: "rtu:///dev/serial/by-id/none"}); err == nil {
		t.Error("opened a port that is not there")
	} else {
		t.Log(err)
	}
}

func TestPortHasOneMaster(t *testing.T) {
	p := wiretest.NewPeer(false, sound)
	cfg := linkTo(t, p, RTU)
	open(t, cfg)
	if c, err := Open(t.Context(), cfg); err == nil {
		c.Close()
		t.Error("the same port was opened twice")
	}
}

// TestManyDescriptors: the library's own serial port breaks its select from
// descriptor 1024 on.
func TestManyDescriptors(t *testing.T) {
	wiretest.UseDescriptors(t, 1100)
	p := wiretest.NewPeer(false, sound)
	c := open(t, linkTo(t, p, RTU))
	if _, err := c.Read(Ask{Unit: 1, Table: Holding, Count: 2, Timeout: time.Second}); err != nil {
		t.Error(err)
	}
}

func TestErrorsSayWhere(t *testing.T) {
	p := wiretest.NewPeer(true, func(r wiretest.Request) ([]byte, bool) { return r.Exception(2), false })
	c := open(t, linkTo(t, p, TCP))
	_, err := c.Read(Ask{Unit: 3, Table: Holding, Addr: 40, Count: 6})
	want := fmt.Sprintf("gateway %s unit 3 holding registers 40..45 (wire address): exception 02 illegal data address; compare profile and base with the device's register map", c.Address())
	if err == nil || err.Error() != want {
		t.Errorf("%v\nwant %s", err, want)
	}
}
