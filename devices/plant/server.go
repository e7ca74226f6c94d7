package plant

import (
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"log"
	"net"
	"strings"
	"sync"
	"time"

	"github.com/simonvetter/modbus"

	"ohmdrift/devices"
)

const (
	maxClients  = 256              // per link; the library's default of 10 is too few for tests with many
	idleSession = 10 * time.Minute // a client may poll slowly
	gatewayWait = 2 * time.Second  // for a silent device
	portTries   = 8
)

// server is one link: a listener with several units behind it.
type server struct {
	plant *Plant
	bound string
	units map[uint8][]*transmitter
	close func()
	done  chan struct{} // closed by stop: silent devices let go
	wg    sync.WaitGroup
	mu    sync.Mutex // guards off against wg.Add
	off   bool
}

// Listen opens every link and returns the address that each is bound to, in the
// order of Config.Links. Requests are answered from then on until Close. A link
// that cannot be opened closes those that were.
func (p *Plant) Listen() ([]string, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.servers != nil {
		return nil, fmt.Errorf("the plant listens already")
	}
	var bound []string
	for i, addr := range p.conf.Links {
		s, err := p.open(i, addr)
		if err != nil {
			p.closeServers()
			return nil, fmt.Errorf("link %s: %w", addr, err)
		}
		p.servers = append(p.servers, s)
		bound = append(bound, s.bound)
	}
	return bound, nil
}

// Serve answers requests until ctx ends; it listens first if Listen was not
// called. It returns when every handler has.
func (p *Plant) Serve(ctx context.Context) error {
	p.mu.Lock()
	listening := p.servers != nil
	p.mu.Unlock()
	if !listening {
		if _, err := p.Listen(); err != nil {
			return err
		}
	}
	<-ctx.Done()
	p.Close()
	return nil
}

// Close stops listening, drops every client and waits for the handlers. The
// plant can listen again.
func (p *Plant) Close() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.closeServers()
}

func (p *Plant) closeServers() {
	for _, s := range p.servers {
		s.stop()
	}
	p.servers = nil
}

// open starts the server of one link.
func (p *Plant) open(link int, addr string) (*server, error) {
	s := &server{plant: p, units: make(map[uint8][]*transmitter), done: make(chan struct{})}
	for _, x := range p.loops {
		if x.spec.Link == link {
			s.units[x.spec.Unit] = append(s.units[x.spec.Unit], x)
		}
	}
	if rtu, ok := strings.CutPrefix(addr, "rtuovertcp://"); ok {
		return s, s.openRTU(rtu)
	}
	return s, s.openTCP(strings.TrimPrefix(addr, "tcp://"))
}

// openTCP starts the library's Modbus/TCP server.
func (s *server) openTCP(addr string) (err error) {
	for range portTries {
		if s.bound, err = freePort(addr); err != nil {
			return err
		}
		var lib *modbus.ModbusServer
		lib, err = modbus.NewServer(&modbus.ServerConfiguration{
			URL: "tcp://" + s.bound, Timeout: idleSession, MaxClients: maxClients, Logger: log.New(io.Discard, "", 0),
		}, s)
		if err != nil {
			return err
		}
		s.close = func() { _ = lib.Stop() } // it closes what it opened, whatever that says
		if err = lib.Start(); err == nil || !strings.HasSuffix(addr, ":0") {
			return err
		}
	}
	return err
}

// freePort turns port 0 into a free port: the library does not tell which one it
// was given. Another process can take it in between; openTCP tries again then.
func freePort(addr string) (string, error) {
	if !strings.HasSuffix(addr, ":0") {
		return addr, nil
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return "", err
	}
	defer l.Close()
	return l.Addr().String(), nil
}

func (s *server) stop() {
	s.mu.Lock()
	s.off = true
	s.mu.Unlock()
	close(s.done)
	s.close()
	s.wg.Wait()
}

// enter counts a handler in, unless the server is stopping.
func (s *server) enter() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.off {
		return false
	}
	s.wg.Add(1)
	return true
}

// HandleCoils refuses: a transmitter has no coils.
func (s *server) HandleCoils(r *modbus.CoilsRequest) ([]bool, error) {
	return nil, s.refuse(r.IsWrite)
}

// HandleDiscreteInputs refuses: a transmitter has none.
func (s *server) HandleDiscreteInputs(*modbus.DiscreteInputsRequest) ([]bool, error) {
	return nil, s.refuse(false)
}

// HandleHoldingRegisters answers function 03 and refuses writes.
func (s *server) HandleHoldingRegisters(r *modbus.HoldingRegistersRequest) ([]uint16, error) {
	if r.IsWrite {
		return nil, s.refuse(true)
	}
	return s.read(devices.Holding, r.UnitId, r.Addr, r.Quantity)
}

// HandleInputRegisters answers function 04.
func (s *server) HandleInputRegisters(r *modbus.InputRegistersRequest) ([]uint16, error) {
	return s.read(devices.Input, r.UnitId, r.Addr, r.Quantity)
}

func (s *server) refuse(write bool) error {
	c := &s.plant.counts
	c.requests.Add(1)
	c.exceptions.Add(1)
	if write {
		c.writes.Add(1)
	}
	return modbus.ErrIllegalFunction
}

// read answers one request, or keeps quiet.
func (s *server) read(t devices.Table, unit uint8, addr, count uint16) ([]uint16, error) {
	if !s.enter() {
		return nil, modbus.ErrProtocolError
	}
	defer s.wg.Done()
	c := &s.plant.counts
	c.requests.Add(1)
	regs, err := s.registers(t, unit, int(addr), int(count))
	switch err {
	case nil:
		c.registers.Add(uint64(count))
	case errSilent:
		c.silent.Add(1)
		return nil, s.keepQuiet()
	default:
		c.exceptions.Add(1)
	}
	return regs, err
}

// keepQuiet is a gateway that waits for its device, in vain: clients with a
// shorter timeout see none of what it says then. The server's stop ends the wait.
func (s *server) keepQuiet() error {
	timer := time.NewTimer(s.plant.gatewayWait)
	defer timer.Stop()
	select {
	case <-timer.C:
		return modbus.ErrGWTargetFailedToRespond
	case <-s.done:
		return modbus.ErrProtocolError // drops the connection
	}
}

// registers collects the values of a request from the loops that it covers. All
// come from one moment.
func (s *server) registers(t devices.Table, unit uint8, addr, count int) ([]uint16, error) {
	loops := s.units[unit]
	if loops == nil {
		return nil, modbus.ErrGWTargetFailedToRespond
	}
	now := s.plant.clock()
	out := make([]uint16, count)
	covered := 0
	for _, x := range loops {
		w := x.window()
		from, to := max(addr, w.from), min(addr+count, w.to)
		if x.spec.Profile.Table != t || from >= to {
			continue
		}
		if code, ok := answers(now.UnixNano(), *x.faults.Load()); !ok {
			return nil, exception(code)
		}
		bytes := x.encode(s.plant, now)
		for a := from; a < to; a++ {
			if !x.declared(a) {
				return nil, modbus.ErrIllegalDataAddress
			}
			out[a-addr] = binary.BigEndian.Uint16(bytes[2*(a-w.from):])
			covered++
		}
	}
	if covered != count {
		return nil, modbus.ErrIllegalDataAddress
	}
	return out, nil
}

const errSilent = modbus.Error("the device does not answer")

// exception turns a code into the library's error for it.
func exception(code uint8) error {
	switch code {
	case 0:
		return errSilent
	case 1:
		return modbus.ErrIllegalFunction
	case 2:
		return modbus.ErrIllegalDataAddress
	case 3:
		return modbus.ErrIllegalDataValue
	case 5:
		return modbus.ErrAcknowledge
	case 6:
		return modbus.ErrServerDeviceBusy
	case 8:
		return modbus.ErrMemoryParityError
	case 0x0a:
		return modbus.ErrGWPathUnavailable
	case 0x0b:
		return modbus.ErrGWTargetFailedToRespond
	}
	return modbus.ErrServerDeviceFailure
}
