package devices

import (
	"testing"
	"time"
)

// TestWireTime: times of the serial line (MODBUS over Serial Line V1.02: 11
// bits a character, 3.5 characters of silence, 1.75 ms above 19200 baud),
// computed by hand.
func TestWireTime(t *testing.T) {
	gaps := map[int]time.Duration{1200: 32083 * time.Microsecond, 9600: 4010 * time.Microsecond, 19200: 2005 * time.Microsecond, 115200: 1750 * time.Microsecond}
	for baud, want := range gaps {
		if got := FrameGap(baud); (got - want).Abs() > time.Microsecond {
			t.Errorf("silence at %d baud: %v, want %v", baud, got, want)
		}
	}
	// 125 registers: 8 + 255 characters and two silences.
	reads := map[int]time.Duration{9600: 309_375 * time.Microsecond, 19200: 154_687 * time.Microsecond, 115200: 28_613 * time.Microsecond}
	for baud, want := range reads {
		if got := (LinkConfig{Baud: baud}).WireTime(125); (got - want).Abs() > 5*time.Microsecond {
			t.Errorf("125 registers at %d baud: %v, want %v", baud, got, want)
		}
	}
	if d := (LinkConfig{URL: "tcp://gw:502"}).WireTime(125); d != 0 {
		t.Errorf("a line of unknown speed takes %v", d)
	}
}

func TestParseURL(t *testing.T) {
	good := map[string]struct {
		t    Transport
		addr string
	}{
		"tcp://10.0.4.7:1502":          {TCP, "10.0.4.7:1502"},
		"tcp://gateway":                {TCP, "gateway:502"},
		"tcp+tls://gateway":            {TLS, "gateway:802"},
		"rtuovertcp://gateway:4001":    {RTUOverTCP, "gateway:4001"},
		"rtu:///dev/serial/by-id/mcc2": {RTU, "/dev/serial/by-id/mcc2"},
		"tcp://[fe80::1]:502":          {TCP, "[fe80::1]:502"},
	}
	for s, want := range good {
		if tr, addr, err := ParseURL(s); err != nil || tr != want.t || addr != want.addr {
			t.Errorf("%s: %v %s %v; want %v %s", s, tr, addr, err, want.t, want.addr)
		}
	}
	for _, s := range []string{"", "gateway:502", "udp://gateway:502", "tcp://", "rtu://dev/ttyS0", "rtuovertcp://gateway", "tcp://gateway/path", "rtu://"} {
		if _, _, err := ParseURL(s); err == nil {
			t.Errorf("%q was taken", s)
		}
	}
}

// TestReadAllocates no more than the library does by itself.
func TestReadAllocates(t *testing.T) {
	c := &can{answer: func(sent []byte) []byte {
		frame := append(answerBuffer[:0], sent[:8]...)
		frame[5] = 43
		return append(append(frame, 40), answerZeros[:40]...)
	}}
	conn, err := newConn(LinkConfig{}.WithDefaults(), TCP, "can", c)
	if err != nil {
		t.Fatal(err)
	}
	conn.wire.timeout = time.Second
	library := testing.AllocsPerRun(200, func() {
		if _, err := conn.client.ReadRawBytes(0, 40, 0); err != nil {
			t.Fatal(err)
		}
	})
	ours := testing.AllocsPerRun(200, func() {
		if _, err := conn.Read(Ask{Unit: 1, Table: Holding, Count: 20, Timeout: time.Second}); err != nil {
			t.Fatal(err)
		}
	})
	if ours > library {
		t.Errorf("%v allocations a read, the library alone makes %v", ours, library)
	}
}

var (
	answerBuffer [64]byte
	answerZeros  [64]byte
)
