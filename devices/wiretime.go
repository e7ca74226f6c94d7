package devices

import "time"

// CharTime is the time of one character on the line: 11 bits (MODBUS over
// Serial Line V1.02, section 2.5.1).
func CharTime(baud int) time.Duration {
	if baud <= 0 {
		return 0
	}
	return 11 * time.Second / time.Duration(baud)
}

// FrameGap is the silence between frames, 3.5 characters, fixed at 1.75 ms
// above 19200 baud (section 2.5.1.1).
func FrameGap(baud int) time.Duration {
	if baud > 19200 {
		return 1750 * time.Microsecond
	}
	return CharTime(baud) * 7 / 2
}

// WireTime is the time that a request for count registers and its answer take
// on a serial line of the link's speed, the silence after each included; the
// unit's own time comes on top. Request 8 bytes, answer 5 + 2·count. It is zero
// where no speed is known.
func (c LinkConfig) WireTime(count uint16) time.Duration {
	baud := c.WithDefaults().Baud
	return CharTime(baud)*time.Duration(8+5+2*int(count)) + 2*FrameGap(baud)
}
