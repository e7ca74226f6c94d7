package devices

// identityLen returns the length of an RTU answer to 43/14 at the start of b, 0
// when more bytes are needed, −1 when it cannot be one.
//
//	unit 2B 0E code conformity more next count {id len value…}… crc crc
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
