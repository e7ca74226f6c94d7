//go:build !linux

package devices

import "errors"

// openSerial is there for Linux only so far.
func openSerial(string, LinkConfig) (stream, error) {
	return nil, errors.New("serial ports are supported on Linux only; use a gateway with tcp:// or rtuovertcp://")
}
