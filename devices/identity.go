package devices

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"
)

// Identity is a device's name plate as read by 43/14 (read device
// identification, basic category; MODBUS Application Protocol V1.1b3, 6.21).
type Identity struct{ Vendor, Product, Revision string }

// String returns the three texts, empty when the device gave none.
func (i Identity) String() string {
	if i == (Identity{}) {
		return ""
	}
	return i.Vendor + " " + i.Product + " " + i.Revision
}

// identityTries bounds the requests for one name plate: a device may give it in
// pieces.
const identityTries = 4

// Identify reads the name plate of a unit. It is the only request beside
// registers, and reads as well; callers send it only where a profile says that
// the device has one.
func (c *Conn) Identify(unit uint8, timeout time.Duration) (Identity, error) {
	c.wire.idOK = true
	defer func() { c.wire.idOK = false }()
	c.wire.timeout = timeout + c.cfg.WireTime(64)
	var id Identity
	var object byte
	for range identityTries {
		pdu, err := c.identityPart(unit, object)
		if err != nil {
			return id, err
		}
		more, next, err := id.take(pdu)
		if err != nil {
			return id, &RequestError{Fault: FaultGarbled, Link: c.address, Unit: unit, Cause: err}
		}
		if !more {
			return id, nil
		}
		object = next
	}
	return id, nil
}

func (c *Conn) identityPart(unit uint8, object byte) ([]byte, error) {
	frame := []byte{unit, fnIdentity, meiReadID, 1, object}
	if c.wire.mbap {
		c.txn++
		frame = append([]byte{0x80 | byte(c.txn>>8), byte(c.txn), 0, 0, 0, byte(len(frame))}, frame...)
	} else {
		frame = binary.LittleEndian.AppendUint16(frame, crc16(frame))
		time.Sleep(FrameGap(c.cfg.Baud)) // the codec keeps this silence for its own requests
	}
	start := time.Now()
	answer, err := c.exchange(frame)
	if err != nil || c.wire.code != 0 {
		a := Ask{Unit: unit}
		if err == nil {
			err = errors.New("exception")
		}
		return nil, c.failed(&a, 0, err, time.Since(start))
	}
	if c.wire.mbap {
		return answer[7:], nil
	}
	return answer[1 : len(answer)-2], nil
}

// exchange sends one frame and returns the whole frame of its answer.
func (c *Conn) exchange(frame []byte) ([]byte, error) {
	if _, err := c.wire.Write(frame); err != nil {
		return nil, err
	}
	var answer []byte
	for part := make([]byte, 256); c.wire.nsent > 0; {
		n, err := c.wire.Read(part)
		if err != nil {
			return nil, err
		}
		answer = append(answer, part[:n]...)
	}
	return answer, nil
}

// take reads the objects of one answer.
//
//	2B 0E code conformity more next count {id len value…}…
func (i *Identity) take(pdu []byte) (more bool, next byte, err error) {
	if len(pdu) < 7 || pdu[1] != meiReadID {
		return false, 0, errors.New("read device identification: not an answer to it")
	}
	rest := pdu[7:]
	for range pdu[6] {
		if len(rest) < 2 || len(rest) < 2+int(rest[1]) {
			return false, 0, fmt.Errorf("read device identification: %d objects promised, the answer ends before", pdu[6])
		}
		text := printable(rest[2 : 2+int(rest[1])])
		switch rest[0] {
		case 0:
			i.Vendor = text
		case 1:
			i.Product = text
		case 2:
			i.Revision = text
		}
		rest = rest[2+int(rest[1]):]
	}
	return pdu[4] == 0xFF && pdu[5] != 0, pdu[5], nil
}

// printable keeps what may stand in a log line.
func printable(b []byte) string {
	out := make([]byte, 0, len(b))
	for _, c := range b {
		if c >= ' ' && c < 0x7F {
			out = append(out, c)
		}
	}
	return string(out)
}

// identityLen returns the length of an RTU answer to 43/14 at the start of b, 0
// when more bytes are needed, −1 when it cannot be one.
func identityLen(b []byte) int {
	if len(b) < 8 {
		return 0
	}
	n := 8
	for range b[7] {
		if len(b) < n+2 {
			return 0
		}
		n += 2 + int(b[n+1])
		if n > 254 {
			return -1
		}
	}
	n += 2
	if len(b) < n {
		return 0
	}
	if crc16(b[:n]) != 0 {
		return -1
	}
	return n
}
