package demo

import (
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"sync"
	"time"

	protocol "github.com/influxdata/line-protocol"
)

// maxBody bounds one write call: 5,000 points of about 300 bytes, ten times over.
const maxBody = 16 << 20

// receiver is a small server with the v2 write API on loopback, so that the
// demo's points really cross HTTP on a machine that has no database. It parses
// every line, counts the points and keeps the newest of each series.
type receiver struct {
	server   *http.Server
	listener net.Listener
	done     chan error

	mu     sync.Mutex
	points int
	bad    int
	newest map[string]time.Time // by measurement and tags
}

// startReceiver listens on a free loopback port; stop it with close.
func startReceiver() (*receiver, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, fmt.Errorf("demo receiver: %w", err)
	}
	r := &receiver{listener: l, done: make(chan error, 1), newest: map[string]time.Time{}}
	mux := http.NewServeMux()
	mux.HandleFunc("POST /api/v2/write", r.write)
	mux.HandleFunc("GET /ping", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })
	mux.HandleFunc("HEAD /ping", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })
	r.server = &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second}
	go func() { r.done <- r.server.Serve(l) }() // ended and waited for in close
	return r, nil
}

func (r *receiver) url() string { return "http://" + r.listener.Addr().String() }

func (r *receiver) write(w http.ResponseWriter, q *http.Request) {
	precision, err := precisionOf(q.URL.Query().Get("precision"))
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	body, err := plainBody(q)
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	metrics, err := parse(body, precision)
	r.mu.Lock()
	defer r.mu.Unlock()
	if err != nil {
		r.bad++
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	for _, m := range metrics {
		r.points++
		r.newest[series(m)] = m.Time()
	}
	w.WriteHeader(http.StatusNoContent)
}

// counts returns the points taken, the series seen and the calls refused.
func (r *receiver) counts() (points, series, refused int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.points, len(r.newest), r.bad
}

func (r *receiver) close() error {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	err := r.server.Shutdown(ctx)
	if e := <-r.done; !errors.Is(e, http.ErrServerClosed) {
		err = errors.Join(err, e)
	}
	return err
}

func precisionOf(s string) (time.Duration, error) {
	switch s {
	case "s":
		return time.Second, nil
	case "ms":
		return time.Millisecond, nil
	case "us":
		return time.Microsecond, nil
	case "ns", "":
		return time.Nanosecond, nil
	}
	return 0, fmt.Errorf("precision %q: want s, ms, us or ns", s)
}

func plainBody(q *http.Request) ([]byte, error) {
	var body io.Reader = http.MaxBytesReader(nil, q.Body, maxBody)
	if q.Header.Get("Content-Encoding") == "gzip" {
		z, err := gzip.NewReader(body)
		if err != nil {
			return nil, fmt.Errorf("gzip body: %w", err)
		}
		defer z.Close()
		body = io.LimitReader(z, maxBody)
	}
	return io.ReadAll(body)
}

func parse(body []byte, precision time.Duration) ([]protocol.Metric, error) {
	handler := protocol.NewMetricHandler()
	handler.SetTimePrecision(precision)
	return protocol.NewParser(handler).Parse(body)
}

func series(m protocol.Metric) string {
	s := m.Name()
	for _, t := range m.TagList() {
		s += "," + t.Key + "=" + t.Value
	}
	return s
}
