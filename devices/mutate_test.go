package devices

import (
	"bytes"
	"encoding/binary"
	"io"
	"math/rand/v2"
	"os"
	"testing"
	"testing/synctest"
	"time"

	"ohmdrift/devices/wiretest"
)

// can is a stream that holds the bytes of an answer; then it times out.
type can struct {
	sent   []byte
	answer func(sent []byte) []byte
	left   []byte
}

func (c *can) Write(b []byte) (int, error) {
	c.sent = append(c.sent[:0], b...)
	c.left = c.answer(c.sent)
	return len(b), nil
}

func (c *can) Read(p []byte) (int, error) {
	if len(c.left) == 0 {
		return 0, os.ErrDeadlineExceeded
	}
	n := copy(p, c.left)
	c.left = c.left[n:]
	return n, nil
}

func (c *can) Close() error                    { return nil }
func (c *can) SetDeadline(time.Time) error     { return nil }
func (c *can) SetReadDeadline(time.Time) error { return nil }

// mutations is how many mutated frames each transport takes: ten million
// together in the long run.
func mutations() int {
	if os.Getenv("OHMDRIFT_LONG") != "" {
		return 5_000_000
	}
	return 20_000
}

// TestMutatedFrames sends good answers through the real decode path with bits
// flipped, bytes lost, doubled, moved and made up. Whatever is taken must be
// found, by a plain search of the bytes, as a whole frame of the right unit,
// function, length and CRC or transaction.
func TestMutatedFrames(t *testing.T) {
	for _, tr := range []Transport{TCP, RTUOverTCP} {
		t.Run("transport="+tr.String(), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { // the codec keeps the silence of serial lines
				mutated(t, tr, mutations())
			})
		})
	}
}

func mutated(t *testing.T, tr Transport, n int) {
	rnd := rand.New(rand.NewPCG(7, 7))
	var answer []byte
	peer := wiretest.NewPeer(tr == TCP, nil)
	c := &can{}
	conn, err := newConn(LinkConfig{}.WithDefaults(), tr, "can", c)
	if err != nil {
		t.Fatal(err)
	}
	c.answer = func(sent []byte) []byte {
		answer = mutate(rnd, goodAnswer(rnd, peer.Parse(sent)))
		return answer
	}
	taken := 0
	for range n {
		a := Ask{Unit: uint8(1 + rnd.IntN(3)), Table: []Table{Holding, Input}[rnd.IntN(2)], Addr: uint16(rnd.IntN(300)), Count: uint16(1 + rnd.IntN(8)), Timeout: time.Second}
		conn.stale, conn.settle = staleness{}, false
		conn.wire.r, conn.wire.w = 0, 0
		b, err := conn.Read(a)
		if err != nil {
			continue
		}
		taken++
		if !holds(tr, answer, c.sent, &a, b) {
			t.Fatalf("took % X from % X as the answer to % X", b, answer, c.sent)
		}
	}
	if taken == 0 || taken == n {
		t.Errorf("%d of %d taken: the test mutates nothing, or all", taken, n)
	}
	t.Logf("%d of %d mutated frames were still whole answers", taken, n)
}

func goodAnswer(rnd *rand.Rand, r wiretest.Request) []byte {
	switch rnd.IntN(8) {
	case 0:
		return r.Exception(byte(1 + rnd.IntN(11)))
	case 1:
		return append(r.FrameOf(r.Unit^1, r.Txn-1, []byte{r.Fn, 2, 0, 9}), r.Registers(uint16(rnd.Uint32()))...)
	}
	return r.Registers(uint16(rnd.Uint32()))
}

func mutate(rnd *rand.Rand, b []byte) []byte {
	for range 1 + rnd.IntN(3) {
		if len(b) == 0 {
			return b
		}
		i := rnd.IntN(len(b))
		switch rnd.IntN(8) {
		case 0:
			b[i] ^= 1 << rnd.IntN(8)
		case 1:
			b[i] = byte(rnd.Uint32())
		case 2:
			b = b[:i]
		case 3:
			b = append(b[:i], b[min(i+1, len(b)):]...)
		case 4:
			b = append(b, b[i:]...)
		case 5:
			b = append([]byte{byte(rnd.Uint32())}, b...)
		case 6:
			k := rnd.IntN(len(b))
			b[i], b[k] = b[k], b[i]
		}
	}
	return b
}

// holds searches for the frame that would justify what was taken.
func holds(tr Transport, answer, sent []byte, a *Ask, data []byte) bool {
	pdu := append([]byte{byte(a.Table), byte(2 * a.Count)}, data...)
	if len(data) != 2*int(a.Count) {
		return false
	}
	if tr == TCP {
		frame := append([]byte{sent[0], sent[1], 0, 0, 0, byte(len(pdu) + 1), a.Unit}, pdu...)
		return bytes.Contains(answer, frame)
	}
	frame := append([]byte{a.Unit}, pdu...)
	frame = binary.LittleEndian.AppendUint16(frame, wiretest.CRC(frame))
	return bytes.Contains(answer, frame)
}

// FuzzWire gives any bytes as an answer: an error or what was asked for.
func FuzzWire(f *testing.F) {
	good := wiretest.NewPeer(false, nil).Parse([]byte{1, 3, 0, 0, 0, 2, 0xC4, 0x0B})
	f.Add(good.Registers(7), false)
	f.Add([]byte{0, 1, 0, 0, 0, 7, 1, 3, 4, 0, 1, 0, 2}, true)
	f.Fuzz(func(t *testing.T, b []byte, mbap bool) {
		tr := TCP
		if !mbap {
			tr = RTUOverTCP
		}
		synctest.Test(t, func(t *testing.T) { // the codec keeps the silence of serial lines
			c := &can{answer: func([]byte) []byte { return b }}
			conn, err := newConn(LinkConfig{}.WithDefaults(), tr, "can", c)
			if err != nil {
				t.Fatal(err)
			}
			a := Ask{Unit: 1, Table: Holding, Count: 2, Timeout: time.Second}
			got, err := conn.Read(a)
			if err == nil && !holds(tr, b, c.sent, &a, got) {
				t.Errorf("took % X from % X", got, b)
			}
		})
	})
}

var _ io.ReadWriteCloser = (*can)(nil)
