package devices

import (
	"fmt"
	"testing"
	"time"

	"github.com/simonvetter/modbus"

	"ohmdrift/devices/wiretest"
)

// everywhere runs a test on each transport against a peer of its own.
func everywhere(t *testing.T, test func(t *testing.T, p *wiretest.Peer, c LinkConfig)) {
	for _, tr := range []Transport{TCP, TLS, RTU, RTUOverTCP} {
		t.Run("transport="+tr.String(), func(t *testing.T) {
			p := wiretest.NewPeer(!tr.Ambiguous(), sound)
			test(t, p, linkTo(t, p, tr))
		})
	}
}

// sound answers every request with registers that hold the request's number.
func sound(r wiretest.Request) ([]byte, bool) { return r.Registers(uint16(r.N)), false }

func linkTo(t *testing.T, p *wiretest.Peer, tr Transport) LinkConfig {
	t.Helper()
	c := LinkConfig{Name: "test", Timeout: 40 * time.Millisecond, Baud: 115200, Parity: "none"}
	switch tr {
	case RTU:
		c.URL = "rtu://" + p.Port(t)
	case TLS:
		cert, key, server := wiretest.Certs(t)
		c.URL, c.TLS = "tcp+tls://"+p.Listen(t, server), &TLSFiles{CertFile: cert, KeyFile: key, CAFile: cert}
	default:
		c.URL = tr.String() + "://" + p.Listen(t, nil)
	}
	return c
}

func open(t *testing.T, c LinkConfig) *Conn {
	t.Helper()
	conn, err := Open(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return conn
}

// TestOnlyReadsLeave pushes the PDU of every function through the real
// connection, by hand and by every writing method of the library, and counts
// the bytes that reach the far end: those of 03 and 04, and of 43/14 while a
// name plate is being read.
func TestOnlyReadsLeave(t *testing.T) {
	everywhere(t, func(t *testing.T, p *wiretest.Peer, cfg LinkConfig) {
		c := open(t, cfg)
		c.wire.timeout = time.Second
		for fn := range 256 {
			for _, pdu := range pdusOf(byte(fn)) {
				if _, err := c.wire.Write(frameOf(c, 7, pdu)); err == nil {
					t.Errorf("function %02X with % X went out", fn, pdu)
				} else if FaultOf(c.failed(&Ask{}, 0, err, 0)) != FaultRefused {
					t.Errorf("function %02X: %v; want a refusal", fn, err)
				}
			}
		}
		for name, write := range writes(c.client) {
			if err := write(); err == nil {
				t.Errorf("%s went out", name)
			}
		}
		// A request that does arrive proves that the ones before did not: the
		// connection keeps their order.
		if _, err := c.Read(Ask{Unit: 7, Table: Holding, Addr: 1, Count: 2, Timeout: time.Second}); err != nil {
			t.Fatal(err)
		}
		r, n := p.Last()
		if n != 1 || r.Fn != 3 || p.Bytes() != len(r.Raw) {
			t.Errorf("the far end got %d requests, %d bytes, the last %02X; want the one read of %d bytes", n, p.Bytes(), r.Fn, len(r.Raw))
		}
	})
}

// pdusOf returns requests of a function in the lengths it may have; for 03 and
// 04 only malformed ones, for 43 also the right one, which nobody asked for.
func pdusOf(fn byte) [][]byte {
	long := append([]byte{fn}, make([]byte, 252)...)
	pdus := [][]byte{{fn}, {fn, 0}, long[:4], long[:6], long[:12], long}
	switch fn {
	case fnHolding, fnInput:
		return pdus
	case fnIdentity:
		pdus = append(pdus, []byte{fn, meiReadID, 1, 0}, []byte{fn, 0x0D, 0, 0})
	}
	return append(pdus, long[:5], []byte{fn, 0, 1, 0xFF, 0})
}

func frameOf(c *Conn, unit byte, pdu []byte) []byte {
	if c.wire.mbap {
		n := len(pdu) + 1
		return append([]byte{0, 1, 0, 0, byte(n >> 8), byte(n), unit}, pdu...)
	}
	b := append([]byte{unit}, pdu...)
	crc := wiretest.CRC(b)
	return append(b, byte(crc), byte(crc>>8))
}

// writes calls every method of the library that is no read of registers.
func writes(m *modbus.ModbusClient) map[string]func() error {
	coils := func() error { _, err := m.ReadCoils(0, 8); return err }
	inputs := func() error { _, err := m.ReadDiscreteInputs(0, 8); return err }
	return map[string]func() error{
		"ReadCoils": coils, "ReadDiscreteInputs": inputs,
		"WriteCoil":      func() error { return m.WriteCoil(1, true) },
		"WriteCoilValue": func() error { return m.WriteCoils(1, []bool{true, false}) },
		"WriteRegister":  func() error { return m.WriteRegister(1, 2) },
		"WriteRegisters": func() error { return m.WriteRegisters(1, []uint16{2, 3}) },
		"WriteFloat32":   func() error { return m.WriteFloat32(1, 2) },
		"WriteFloat64s":  func() error { return m.WriteFloat64s(1, []float64{2}) },
		"WriteUint32":    func() error { return m.WriteUint32(1, 2) },
		"WriteUint64":    func() error { return m.WriteUint64(1, 2) },
		"WriteBytes":     func() error { return m.WriteBytes(1, []byte{2, 3}) },
		"WriteRawBytes":  func() error { return m.WriteRawBytes(1, []byte{2, 3}) },
	}
}

// TestNoBroadcast: unit 0 on a serial line is answered by nobody and taken by
// all.
func TestNoBroadcast(t *testing.T) {
	p := wiretest.NewPeer(false, sound)
	c := open(t, linkTo(t, p, RTUOverTCP))
	if _, err := c.Read(Ask{Unit: 0, Table: Holding, Count: 1}); FaultOf(err) != FaultRefused {
		t.Errorf("a broadcast: %v; want a refusal", err)
	}
}

func TestIdentify(t *testing.T) {
	everywhere(t, func(t *testing.T, p *wiretest.Peer, cfg LinkConfig) {
		parts := []string{"Larkfield", "TX-4", "1.2"}
		p.Play(func(r wiretest.Request) ([]byte, bool) {
			object := r.Raw[len(r.Raw)-1]
			if cfg.URL[:3] == "rtu" {
				object = r.Raw[4]
			}
			more, next := byte(0xFF), object+1
			if int(object) == len(parts)-1 {
				more, next = 0, 0
			}
			text := parts[object]
			return r.Frame(append([]byte{0x2B, 0x0E, 1, 1, more, next, 1, object, byte(len(text))}, text...)), false
		})
		c := open(t, cfg)
		id, err := c.Identify(9, time.Second)
		if want := (Identity{"Larkfield", "TX-4", "1.2"}); err != nil || id != want {
			t.Errorf("%v, %v; want %v", id, err, want)
		}
		p.Play(func(r wiretest.Request) ([]byte, bool) { return r.Exception(1), false })
		if _, err := c.Identify(9, time.Second); FaultOf(err) != FaultConfiguration {
			t.Errorf("%v; want exception 01 sorted as configuration", err)
		}
		p.Play(func(r wiretest.Request) ([]byte, bool) {
			return r.Frame([]byte{0x2B, 0x0E, 1, 1, 0, 0, 1, 0, 0}), false // an object without text, and none follow
		})
		if id, err := c.Identify(9, time.Second); err != nil || id != (Identity{}) {
			t.Errorf("an empty name plate: %v, %v", id, err)
		}
		p.Play(func(r wiretest.Request) ([]byte, bool) {
			return r.Frame([]byte{0x2B, 0x0E, 1, 1, 0, 0, 2, 0, 1, 'x'}), false // two objects promised
		})
		if _, err := c.Identify(9, patience); FaultOf(err) != FaultGarbled {
			t.Errorf("a name plate cut short: %v; want garbled", err)
		}
		p.Play(sound)
		if _, err := c.Read(Ask{Unit: 9, Table: Input, Count: 3, Timeout: time.Second}); err != nil {
			t.Errorf("registers after a name plate: %v", err)
		}
	})
}

// TestCRC uses the frames of the serial line specification and others computed
// with a bitwise reference (facts: "123456789" = 0x4B37).
func TestCRC(t *testing.T) {
	tests := []struct {
		frame []byte
		want  uint16
	}{
		{[]byte("123456789"), 0x4B37},
		{[]byte{0x02, 0x07}, 0x1241},
		{[]byte{0x11, 0x03, 0x00, 0x6B, 0x00, 0x03}, 0x8776},
		{[]byte{0x11, 0x03, 0x06, 0xAE, 0x41, 0x56, 0x52, 0x43, 0x40}, 0xAD49},
		{[]byte{0x01, 0x03, 0x00, 0x00, 0x00, 0x0A}, 0xCDC5},
		{[]byte{0x01, 0x04, 0x00, 0x00, 0x00, 0x02}, 0xCB71},
		{[]byte{0x01, 0x83, 0x02}, 0xF1C0},
	}
	for _, tt := range tests {
		t.Run(fmt.Sprintf("% X", tt.frame), func(t *testing.T) {
			if got := crc16(tt.frame); got != tt.want {
				t.Errorf("CRC %04X, want %04X", got, tt.want)
			}
		})
	}
}
