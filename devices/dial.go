package devices

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"os"
	"time"
)

// dialTimeout bounds one attempt to connect; the link tries again later.
const dialTimeout = 5 * time.Second

// dial opens the stream of a link: a socket, a TLS session or a serial port.
func dial(ctx context.Context, t Transport, addr string, c LinkConfig) (stream, error) {
	if t == RTU {
		return openSerial(addr, c)
	}
	ctx, cancel := context.WithTimeout(ctx, dialTimeout)
	defer cancel()
	s, err := (&net.Dialer{}).DialContext(ctx, "tcp", addr)
	if err != nil {
		return nil, dialError(err, addr)
	}
	if t != TLS {
		return s, nil
	}
	secured, err := secure(ctx, s, addr, c.TLS)
	if err != nil {
		s.Close()
		return nil, fmt.Errorf("connect %s: %w", addr, err)
	}
	return secured, nil
}

// dialError says what to look at.
func dialError(err error, addr string) error {
	var dns *net.DNSError
	switch {
	case errors.As(err, &dns):
		return fmt.Errorf("connect %s: no address for host %s; check the name or the resolver", addr, dns.Name)
	case errors.Is(err, context.DeadlineExceeded):
		return fmt.Errorf("connect %s: no answer in %v; is the gateway powered and reachable?", addr, dialTimeout)
	}
	return fmt.Errorf("connect %s: %w", addr, cause(err))
}

// cause takes off what repeats operation and address.
func cause(err error) error {
	var op *net.OpError
	if errors.As(err, &op) {
		return op.Err
	}
	return err
}

// secure runs the handshake of Modbus/TCP Security: TLS 1.2 or newer, both
// certificates checked.
func secure(ctx context.Context, s net.Conn, addr string, f *TLSFiles) (net.Conn, error) {
	if f == nil {
		return nil, errors.New("tcp+tls needs certificates: set cert-file, key-file and ca-file of the link")
	}
	pair, err := tls.LoadX509KeyPair(f.CertFile, f.KeyFile)
	if err != nil {
		return nil, fmt.Errorf("client certificate: %w", err)
	}
	pem, err := os.ReadFile(f.CAFile)
	if err != nil {
		return nil, fmt.Errorf("CA certificate: %w", err)
	}
	roots := x509.NewCertPool()
	if !roots.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("CA certificate: no certificate in %s", f.CAFile)
	}
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, err
	}
	c := tls.Client(s, &tls.Config{
		Certificates: []tls.Certificate{pair}, RootCAs: roots, ServerName: host, MinVersion: tls.VersionTLS12,
	})
	if err := c.HandshakeContext(ctx); err != nil {
		return nil, fmt.Errorf("TLS handshake: %w", err)
	}
	return c, nil
}
