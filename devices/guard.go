package devices

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// The complete list of functions that may leave this package: read holding
// registers, read input registers, and read device identification (43 with MEI
// type 14), which reads a name plate and is sent only where a profile says that
// the device has one. None of them changes anything in a device.
const (
	fnHolding  = 0x03
	fnInput    = 0x04
	fnIdentity = 0x2B
	meiReadID  = 0x0E
)

// asked is the request in flight, read back from its own bytes.
type asked struct {
	txn   uint16
	unit  uint8
	fn    uint8
	addr  uint16
	count uint16
}

// refusal is what the guard says.
type refusal struct{ text string }

func (r *refusal) Error() string { return r.text }

func refuse(format string, args ...any) error {
	return &refusal{"refused to send " + fmt.Sprintf(format, args...)}
}

func isRefusal(err error) bool {
	var r *refusal
	return errors.As(err, &r)
}

// inspect is the guard at the connection: it reads the frame that is about to
// leave and refuses everything that is not one whole request of the list above.
// It works on the bytes, so that no call path can go around it.
func inspect(adu []byte, mbap, identity bool) (asked, error) {
	var a asked
	pdu := adu
	if mbap {
		if len(adu) < 8 || adu[2] != 0 || adu[3] != 0 || int(binary.BigEndian.Uint16(adu[4:])) != len(adu)-6 {
			return a, refuse("%d bytes that are not one MBAP frame", len(adu))
		}
		a.txn, a.unit = binary.BigEndian.Uint16(adu), adu[6]
		pdu = adu[7:]
	} else {
		if len(adu) < 4 || crc16(adu) != 0 {
			return a, refuse("%d bytes that are not one RTU frame", len(adu))
		}
		a.unit = adu[0]
		pdu = adu[1 : len(adu)-2]
	}
	a.fn = pdu[0]
	switch {
	case a.unit == 0 && !mbap:
		return a, refuse("a broadcast of function %02X", a.fn)
	case (a.fn == fnHolding || a.fn == fnInput) && len(pdu) == 5:
		a.addr, a.count = binary.BigEndian.Uint16(pdu[1:]), binary.BigEndian.Uint16(pdu[3:])
		return a, nil
	case a.fn == fnIdentity && identity && len(pdu) == 4 && pdu[1] == meiReadID:
		return a, nil
	}
	return a, refuse("function %02X: this program only reads (03, 04 and, where a profile says so, 43/14)", a.fn)
}

// crc16 is CRC-16/MODBUS; over a whole frame, CRC included, it is zero.
func crc16(b []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, c := range b {
		crc = crc>>8 ^ crcTable[byte(crc)^c]
	}
	return crc
}

// crcTable is the reflected polynomial 0xA001, byte by byte.
var crcTable = func() (t [256]uint16) {
	for i := range t {
		c := uint16(i)
		for range 8 {
			if c&1 != 0 {
				c = c>>1 ^ 0xA001
			} else {
				c >>= 1
			}
		}
		t[i] = c
	}
	return t
}()
