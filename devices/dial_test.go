package devices

import (
	"context"
	"net"
	"strings"
	"testing"
	"time"

	"ohmdrift/devices/wiretest"
)

// TestOpenSaysWhy: every way in which a link cannot be opened says what to look
// at.
func TestOpenSaysWhy(t *testing.T) {
	cert, key, server := wiretest.Certs(t)
	other, _, _ := wiretest.Certs(t)
	tls := wiretest.NewPeer(true, sound).Listen(t, server)
	closed, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	closed.Close()
	tests := []struct {
		name string
		cfg  LinkConfig
		want string
	}{
		{"nobody listens", LinkConfig{URL: "tcp://" + closed.Addr().String()}, "connection refused"},
		{"host without address", LinkConfig{URL: "tcp://no-such-host.invalid:502"}, "no address for host no-such-host.invalid"},
		{"no port", LinkConfig{URL: "rtu:///dev/serial/by-id/none"}, "is the adapter plugged in?"},
		{"no serial port", LinkConfig{URL: "rtu:///dev/null"}, "not a serial port"},
		{"speed", LinkConfig{URL: "rtu:///dev/null", Baud: 12345}, "12345 baud is not supported"},
		{"scheme", LinkConfig{URL: "udp://127.0.0.1:502"}, "want tcp, tcp+tls, rtu or rtuovertcp"},
		{"no certificates", LinkConfig{URL: "tcp+tls://" + tls}, "needs certificates"},
		{"no certificate file", LinkConfig{URL: "tcp+tls://" + tls, TLS: &TLSFiles{CertFile: "none.pem", KeyFile: key, CAFile: cert}}, "client certificate: open none.pem"},
		{"no CA file", LinkConfig{URL: "tcp+tls://" + tls, TLS: &TLSFiles{CertFile: cert, KeyFile: key, CAFile: "none.pem"}}, "CA certificate: open none.pem"},
		{"no certificate in the CA file", LinkConfig{URL: "tcp+tls://" + tls, TLS: &TLSFiles{CertFile: cert, KeyFile: key, CAFile: key}}, "no certificate in"},
		{"server of another CA", LinkConfig{URL: "tcp+tls://" + tls, TLS: &TLSFiles{CertFile: cert, KeyFile: key, CAFile: other}}, "TLS handshake"},
		{"plain server", LinkConfig{URL: "tcp+tls://" + wiretest.NewPeer(true, sound).Listen(t, nil), TLS: &TLSFiles{CertFile: cert, KeyFile: key, CAFile: cert}}, "TLS handshake"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tt.cfg.Name = "mcc1"
			ctx, stop := context.WithTimeout(t.Context(), 2*time.Second)
			defer stop()
			c, err := Open(ctx, tt.cfg)
			if err == nil {
				c.Close()
				t.Fatal("opened")
			}
			if !strings.Contains(err.Error(), tt.want) {
				t.Errorf("%v\nwant something with %q", err, tt.want)
			}
		})
	}
}

// TestOpenStops: a dial that nobody answers ends with its context, not after
// its own five seconds.
func TestOpenStops(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if c, err := Open(ctx, LinkConfig{URL: "tcp://192.0.2.1:502"}); err == nil {
		c.Close()
		t.Error("opened a connection to the documentation network")
	}
}

// TestInterrupt ends a request that waits, and refuses the next.
func TestInterrupt(t *testing.T) {
	asked := make(chan struct{}, 1)
	p := wiretest.NewPeer(true, func(wiretest.Request) ([]byte, bool) {
		asked <- struct{}{}
		return nil, false
	})
	c := open(t, linkTo(t, p, TCP))
	done := make(chan error)
	go func() {
		_, err := c.Read(Ask{Unit: 1, Table: Holding, Count: 1, Timeout: time.Hour})
		done <- err
	}()
	<-asked
	c.Interrupt()
	if err := <-done; FaultOf(err) != FaultLost || !strings.Contains(err.Error(), "stopped") {
		t.Errorf("%v", err)
	}
	if _, err := c.Read(Ask{Unit: 1, Table: Holding, Count: 1, Timeout: time.Hour}); FaultOf(err) != FaultLost {
		t.Errorf("a request after the interrupt: %v", err)
	}
}

// TestPauseAfterConnect: the first request waits for the link's pause.
func TestPauseAfterConnect(t *testing.T) {
	p := wiretest.NewPeer(true, sound)
	cfg := linkTo(t, p, TCP)
	cfg.AfterDial = 30 * time.Millisecond
	start := time.Now()
	open(t, cfg)
	if d := time.Since(start); d < cfg.AfterDial {
		t.Errorf("open after %v, want at least %v", d, cfg.AfterDial)
	}
}
