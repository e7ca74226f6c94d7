package plant

import (
	"encoding/binary"
	"errors"
	"io"
	"net"
	"sync"

	"github.com/simonvetter/modbus"

	"ohmdrift/devices"
)

// The library serves Modbus/TCP only. A gateway in transparent mode passes the
// frames of the serial line through a TCP connection: unit, function, data, CRC,
// no header. Only reads have a place here.

// requestLen is the length of a read request: unit, function, address, count, CRC.
const requestLen = 8

// rtuLine accepts connections of one rtuovertcp link and ends them on close.
type rtuLine struct {
	server   *server
	listener net.Listener
	wg       sync.WaitGroup

	mu    sync.Mutex
	conns map[net.Conn]bool // nil = closed
}

// openRTU starts a line of RTU frames over TCP.
func (s *server) openRTU(addr string) error {
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return err
	}
	line := &rtuLine{server: s, listener: l, conns: make(map[net.Conn]bool)}
	s.bound, s.close = l.Addr().String(), line.close
	line.wg.Add(1)
	go line.accept()
	return nil
}

func (r *rtuLine) accept() {
	defer r.wg.Done()
	for {
		c, err := r.listener.Accept()
		if err != nil {
			return
		}
		r.mu.Lock()
		if r.conns == nil || len(r.conns) >= maxClients {
			c.Close()
		} else {
			r.conns[c] = true
			r.wg.Add(1)
			go r.serve(c)
		}
		r.mu.Unlock()
	}
}

// close ends the line and waits for its goroutines.
func (r *rtuLine) close() {
	r.listener.Close()
	r.mu.Lock()
	for c := range r.conns {
		c.Close()
	}
	r.conns = nil
	r.mu.Unlock()
	r.wg.Wait()
}

// serve answers the frames of one connection. A frame with a wrong CRC or of
// another length ends it: there is no silence on TCP to find the next one by.
func (r *rtuLine) serve(c net.Conn) {
	defer r.wg.Done()
	defer func() {
		r.mu.Lock()
		delete(r.conns, c)
		r.mu.Unlock()
		c.Close()
	}()
	frame := make([]byte, requestLen)
	for {
		if _, err := io.ReadFull(c, frame); err != nil || crc16(frame) != 0 {
			return
		}
		answer, ok := r.answer(frame)
		if !ok {
			return
		}
		if _, err := c.Write(answer); err != nil {
			return
		}
	}
}

// answer returns the frame that replies to a request; not ok = none, the line is
// closed.
func (r *rtuLine) answer(frame []byte) ([]byte, bool) {
	unit, function := frame[0], frame[1]
	if function != byte(devices.Holding) && function != byte(devices.Input) {
		err := r.server.refuse(function == 5 || function == 6)
		return sealed([]byte{unit, function | 0x80, codeOf(err)}), true
	}
	addr, count := binary.BigEndian.Uint16(frame[2:]), binary.BigEndian.Uint16(frame[4:])
	if count == 0 || count > devices.MaxRegisters {
		return sealed([]byte{unit, function | 0x80, codeOf(modbus.ErrIllegalDataValue)}), true
	}
	regs, err := r.server.read(devices.Table(function), unit, addr, count)
	if errors.Is(err, modbus.ErrProtocolError) {
		return nil, false
	}
	if err != nil {
		return sealed([]byte{unit, function | 0x80, codeOf(err)}), true
	}
	return sealed(append([]byte{unit, function, byte(2 * count)}, devices.Words(regs)...)), true
}

// sealed appends the CRC, low byte first.
func sealed(frame []byte) []byte {
	return binary.LittleEndian.AppendUint16(frame, crc16(frame))
}

// crc16 is CRC-16/MODBUS: polynomial 0x8005 reflected, start 0xFFFF. Over a frame
// with its CRC it is 0.
func crc16(data []byte) uint16 {
	crc := uint16(0xffff)
	for _, b := range data {
		crc ^= uint16(b)
		for range 8 {
			if crc&1 != 0 {
				crc = crc>>1 ^ 0xa001
			} else {
				crc >>= 1
			}
		}
	}
	return crc
}

// codeOf turns an error of the library back into its exception code.
func codeOf(err error) byte {
	for code := byte(1); code <= noAnswerThere; code++ {
		if errors.Is(err, exception(code)) {
			return code
		}
	}
	return 4 // server device failure
}
