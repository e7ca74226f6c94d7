package plant

import (
	"errors"
	"io"
	"log"
	"net"
	"runtime"
	"testing"
	"time"

	"github.com/simonvetter/modbus"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

func TestCRC(t *testing.T) {
	// Check value of CRC-16/MODBUS, and frames of the serial line specification.
	if got := crc16([]byte("123456789")); got != 0x4b37 {
		t.Errorf("check value %#04x, want 0x4b37", got)
	}
	if got := sealed([]byte{0x02, 0x07}); got[2] != 0x41 || got[3] != 0x12 {
		t.Errorf("02 07 is sealed by % x, want 41 12", got[2:])
	}
	if got := crc16([]byte{0x11, 0x03, 0x00, 0x6b, 0x00, 0x03, 0x76, 0x87}); got != 0 {
		t.Errorf("a frame with its CRC gives %#04x, want 0", got)
	}
}

// servedRTU is one loop behind a line of RTU frames over TCP.
func servedRTU(t *testing.T, faults ...Placed) (*Plant, string) {
	t.Helper()
	l := Loop{Spec: StorySpec(wiring.ThreeWireDual, wiring.AllLeads), Unit: 17, Base: 100, Profile: integers()}
	p := mustNew(t, Config{Seed: 1, Start: start, Links: []string{"rtuovertcp://127.0.0.1:0"}, Loops: []Loop{l}, Faults: faults, Clock: func() time.Time { return start }})
	bound, err := p.Listen()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.Close)
	return p, bound[0]
}

func dialRTU(t *testing.T, addr string) *modbus.ModbusClient {
	t.Helper()
	c, err := modbus.NewClient(&modbus.ClientConfiguration{URL: "rtuovertcp://" + addr, Speed: 115200, Timeout: 2 * time.Second, Logger: log.New(io.Discard, "", 0)})
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Open(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

func TestRegistersOverRTU(t *testing.T) {
	p, addr := servedRTU(t)
	c := dialRTU(t, addr)
	s := p.SampleAt(0, start)
	got := readAll(t, c, p.loops[0].spec)
	for q, v := range got {
		if want := valueOf(&s, q); v != want && want == want { // status has no value in a sample
			t.Errorf("%s: %v over RTU, sample has %v", q, v, want)
		}
	}
	if len(got) != 9 {
		t.Errorf("%d quantities read, want 9", len(got))
	}
	c.SetUnitId(18)
	if _, err := c.ReadRegisters(100, 2, modbus.HOLDING_REGISTER); !errors.Is(err, modbus.ErrGWTargetFailedToRespond) {
		t.Errorf("a unit that is not there: %v", err)
	}
	c.SetUnitId(17)
	if err := c.WriteRegister(100, 1); !errors.Is(err, modbus.ErrIllegalFunction) {
		t.Errorf("a write: %v, want illegal function", err)
	}
	if n := p.Counts(); n.Writes != 1 || n.Requests != 4 {
		t.Errorf("counted %+v; want 4 requests, one of them a write", n)
	}
	p.Close() // with the client still there
}

func TestRTULineEndsOnABadFrame(t *testing.T) {
	_, addr := servedRTU(t)
	c, err := net.Dial("tcp", addr)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if _, err := c.Write([]byte{17, 3, 0, 100, 0, 2, 0, 0}); err != nil {
		t.Fatal(err)
	}
	if n, err := c.Read(make([]byte, 16)); err == nil {
		t.Errorf("a frame with a wrong CRC was answered with %d bytes", n)
	}
}

func TestRTUStopsUnderASilentDevice(t *testing.T) {
	p, addr := servedRTU(t, Placed{Fault: Fault{Kind: Silent, Lead: measure.A1}})
	p.gatewayWait = time.Hour // only the stop ends it
	c := dialRTU(t, addr)
	c.SetUnitId(17)
	answer := make(chan error, 1)
	go func() {
		_, err := c.ReadRegisters(100, 2, modbus.HOLDING_REGISTER)
		answer <- err
	}()
	for p.Counts().Silent == 0 {
		select {
		case err := <-answer:
			t.Fatalf("a silent device answered: %v", err)
		default:
			runtime.Gosched()
		}
	}
	p.Close()
	if err := <-answer; err == nil {
		t.Error("a read from a silent device brought values")
	}
}
