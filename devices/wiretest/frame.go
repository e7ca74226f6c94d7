package wiretest

import "encoding/binary"

// Request is one request as it came over the wire.
type Request struct {
	N     int // how many came before on this peer, over all connections
	Txn   uint16
	Unit  uint8
	Fn    uint8
	Addr  uint16
	Count uint16
	Raw   []byte

	mbap bool
}

// Registers returns the whole frame of a sound answer in which every register
// holds value.
func (r Request) Registers(value uint16) []byte {
	pdu := []byte{r.Fn, byte(2 * r.Count)}
	for range r.Count {
		pdu = binary.BigEndian.AppendUint16(pdu, value)
	}
	return r.Frame(pdu)
}

// Exception returns the whole frame of an exception.
func (r Request) Exception(code byte) []byte { return r.Frame([]byte{r.Fn | 0x80, code}) }

// Frame returns pdu as an answer to the request.
func (r Request) Frame(pdu []byte) []byte { return r.FrameOf(r.Unit, r.Txn, pdu) }

// FrameOf is Frame with another unit or transaction id.
func (r Request) FrameOf(unit uint8, txn uint16, pdu []byte) []byte {
	if r.mbap {
		b := binary.BigEndian.AppendUint16(nil, txn)
		b = append(b, 0, 0)
		b = binary.BigEndian.AppendUint16(b, uint16(len(pdu)+1))
		return append(append(b, unit), pdu...)
	}
	b := append([]byte{unit}, pdu...)
	return binary.LittleEndian.AppendUint16(b, CRC(b))
}

// CRC is CRC-16/MODBUS, bit by bit (poly 0xA001 reflected, init 0xFFFF).
func CRC(b []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, c := range b {
		crc ^= uint16(c)
		for range 8 {
			odd := crc & 1
			crc >>= 1
			if odd != 0 {
				crc ^= 0xA001
			}
		}
	}
	return crc
}
