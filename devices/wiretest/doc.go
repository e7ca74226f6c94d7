// Package wiretest plays the far end of a Modbus link in tests, byte by byte,
// so that a test can say exactly what a broken device sends and when: late,
// twice, cut short, for another unit. Nothing here waits for time to pass; a
// late answer is one that is sent when the next request has come.
//
//	link under test ── socket, pty or pipe ── Peer ── Script of the test
//
// It also opens pseudo terminals, whose one end is a serial port to the link.
package wiretest
