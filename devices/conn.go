package devices

import (
	"context"
	"errors"
	"time"
)

// Conn is one open connection to the units of a link. It is not safe for
// concurrent use, except Interrupt and Close: one goroutine owns a link.
type Conn struct{}

// Open connects to the first path of a link.
func Open(ctx context.Context, c LinkConfig) (*Conn, error) { return nil, errors.New("not yet") }

// Read asks unit for count registers of table from wire address addr and
// returns their bytes. An error is a *RequestError.
func (c *Conn) Read(unit uint8, t Table, addr, count uint16, timeout time.Duration) ([]byte, error) {
	return nil, errors.New("not yet")
}

// Interrupt ends a running request and refuses later ones.
func (c *Conn) Interrupt() {}

// Close closes the connection.
func (c *Conn) Close() error { return nil }
