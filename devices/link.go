package devices

import (
	"fmt"
	"net"
	"net/url"
	"strings"
	"time"
)

// LinkConfig describes one Modbus connection: host and port or a serial port,
// with several units behind it. It mirrors the link of a plant's configuration
// (config imports this package, not the other way round).
type LinkConfig struct {
	Name        string
	URL         string // tcp://host:502, tcp+tls://host:802, rtu:///dev/serial/by-id/…, rtuovertcp://host:port
	Baud        int    // of the serial line, also of the one behind a gateway; 0 = 19200 for rtu, else not known
	DataBits    int    // 0 = 8
	Parity      string // none, even, odd; empty = even
	StopBits    int    // 0 = 1 with parity, 2 without
	Timeout     time.Duration
	Pause       time.Duration // silence between requests
	AfterDial   time.Duration // pause after connect
	SoleMaster  bool          // true: sole-master; false: shared
	MaxRequests float64       // ceiling of requests a second; 0 = none
	Quiet       []QuietWindow // no request in these, local time of day
	Second      string        // URL of a second path to the same units, empty = none
	TLS         *TLSFiles
}

// QuietWindow is a daily span of local time in minutes after midnight; From > To
// spans midnight.
type QuietWindow struct{ From, To int }

// Contains reports whether the local time of day t lies in the window.
func (w QuietWindow) Contains(t time.Time) bool {
	m := t.Hour()*60 + t.Minute()
	if w.From <= w.To {
		return m >= w.From && m < w.To
	}
	return m >= w.From || m < w.To
}

// TLSFiles names the certificates of a tcp+tls link, PEM files. The server's
// certificate and the client's are both checked (Modbus/TCP Security).
type TLSFiles struct{ CertFile, KeyFile, CAFile string }

// Transport is how Modbus frames travel on a link.
type Transport uint8

// The transports.
const (
	TCP        Transport = iota // MBAP frames, transaction ids
	TLS                         // the same in TLS
	RTU                         // serial line
	RTUOverTCP                  // serial frames in a TCP stream
)

var transportNames = [...]string{"tcp", "tcp+tls", "rtu", "rtuovertcp"}

// String returns the scheme of the transport's URLs.
func (t Transport) String() string {
	if int(t) < len(transportNames) {
		return transportNames[t]
	}
	return fmt.Sprintf("transport(%d)", uint8(t))
}

// Ambiguous reports whether a late reply looks like the answer to the next
// request: serial frames carry no transaction id.
func (t Transport) Ambiguous() bool { return t == RTU || t == RTUOverTCP }

// DefaultTimeout is the time a unit has to answer when the link states none;
// serial links add the time on the wire (common practice).
const DefaultTimeout = time.Second

// ParseURL splits a link URL into its transport and address: host:port, with
// ports 502 and 802 by default, or the path of a serial port.
func ParseURL(s string) (Transport, string, error) {
	u, err := url.Parse(s)
	if err != nil {
		return 0, "", fmt.Errorf("link URL %q: %w", s, err)
	}
	for i, n := range transportNames {
		if u.Scheme == n {
			addr, err := addressOf(Transport(i), u)
			return Transport(i), addr, err
		}
	}
	return 0, "", fmt.Errorf("link URL %q: scheme %q; want tcp, tcp+tls, rtu or rtuovertcp", s, u.Scheme)
}

func addressOf(t Transport, u *url.URL) (string, error) {
	if t == RTU {
		if u.Host != "" || len(u.Path) < 2 {
			return "", fmt.Errorf("link URL %q: want rtu:/// and the path of a serial port, as in rtu:///dev/ttyS0", u)
		}
		return u.Path, nil
	}
	host, port := u.Hostname(), u.Port()
	if host == "" || (u.Path != "" && u.Path != "/") {
		return "", fmt.Errorf("link URL %q: want %s://host:port", u, t)
	}
	switch {
	case port == "" && t == TCP:
		port = "502"
	case port == "" && t == TLS:
		port = "802"
	case port == "":
		return "", fmt.Errorf("link URL %q: %s has no usual port; state it", u, t)
	}
	return net.JoinHostPort(host, port), nil
}

// WithDefaults returns c with the zero values filled in as this package runs
// them.
func (c LinkConfig) WithDefaults() LinkConfig {
	if c.Timeout == 0 {
		c.Timeout = DefaultTimeout
	}
	if c.Baud == 0 && strings.HasPrefix(c.URL, "rtu://") {
		c.Baud = 19200
	}
	if c.DataBits == 0 {
		c.DataBits = 8
	}
	if c.Parity == "" {
		c.Parity = "even"
	}
	if c.StopBits == 0 {
		c.StopBits = 1
		if c.Parity == "none" {
			c.StopBits = 2
		}
	}
	return c
}
