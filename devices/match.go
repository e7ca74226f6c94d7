package devices

import (
	"bytes"
	"encoding/binary"
	"fmt"
)

// matchMBAP finds the frame with the transaction id of the request. A header
// that cannot be one means that the stream has lost its frames: only a new
// connection finds them again.
func (w *wire) matchMBAP() error {
	for {
		b := w.buf[w.r:w.w]
		n := mbapLen(b)
		if n < 0 {
			return ErrFraming
		}
		if n == 0 {
			return nil
		}
		if binary.BigEndian.Uint16(b) != w.ask.txn {
			w.note(b[:n])
			w.r += n
			continue
		}
		if err := w.check(b[6], b[7:n]); err != nil {
			w.r += n
			return err
		}
		w.ready = w.r + n
		return nil
	}
}

// check compares an answer with its request: unit, function and length.
func (w *wire) check(unit uint8, pdu []byte) error {
	fn := pdu[0]
	w.code = 0
	if fn == w.ask.fn|0x80 {
		if len(pdu) != 2 {
			return &garbled{fmt.Sprintf("an exception of %d bytes", len(pdu))}
		}
		// A gateway reports under its own unit 255 that it did not reach the unit.
		if unit != w.ask.unit && (unit != 0xFF || (pdu[1] != 10 && pdu[1] != 11)) {
			return &garbled{fmt.Sprintf("an exception of unit %d", unit)}
		}
		w.code = pdu[1]
		return nil
	}
	switch {
	case unit != w.ask.unit:
		return &garbled{fmt.Sprintf("an answer of unit %d", unit)}
	case fn != w.ask.fn:
		return &garbled{fmt.Sprintf("an answer of function %02X to %02X", fn, w.ask.fn)}
	case fn == fnIdentity:
		return nil
	case len(pdu) != 2+2*int(w.ask.count) || int(pdu[1]) != 2*int(w.ask.count):
		return &garbled{fmt.Sprintf("%d bytes for %d registers", len(pdu)-2, w.ask.count)}
	}
	return nil
}

// matchRTU finds the frame of the unit, function and length that were asked
// for. Whole frames of others (late, double, of another master's units) are set
// aside; what is no frame at all ends the request.
func (w *wire) matchRTU() error {
	for {
		b := w.buf[w.r:w.w]
		if len(b) < 5 {
			return nil
		}
		n := w.answerLen(b)
		if n <= 0 && w.isEcho(b) {
			if len(b) < w.nsent {
				return nil
			}
			w.r += w.nsent // a two-wire adapter that hears itself
			continue
		}
		if n == 0 {
			return nil
		}
		if n < 0 {
			return &garbled{fmt.Sprintf("%d bytes that are no answer (first % X)", len(b), b[:5])}
		}
		if b[0] != w.ask.unit || b[1]&0x7F != w.ask.fn || !w.fits(b[1:n-2]) {
			w.note(b[:n])
			w.r += n
			continue
		}
		if b[1]&0x80 != 0 {
			w.code = b[2]
		}
		w.ready = w.r + n
		return nil
	}
}

func (w *wire) isEcho(b []byte) bool {
	n := min(len(b), w.nsent)
	return bytes.Equal(b[:n], w.sent[:n])
}

// answerLen is rtuLen, which also knows the answer to 43/14 while one is
// awaited.
func (w *wire) answerLen(b []byte) int {
	if b[1] == fnIdentity && w.ask.fn == fnIdentity {
		return identityLen(b)
	}
	return rtuLen(b)
}

// fits reports whether a PDU has the length that the request asks for.
func (w *wire) fits(pdu []byte) bool {
	return pdu[0]&0x80 != 0 || pdu[0] == fnIdentity || int(pdu[1]) == 2*int(w.ask.count)
}
