// Package influxtest runs a real InfluxDB server for tests: version 1.8 with its
// v2 write API and Flux, on free loopback ports, in a folder of its own. A test
// without the server fails and says how to get it; it never skips.
package influxtest

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// Server is a running server with one empty database.
type Server struct {
	URL    string // http://127.0.0.1:port
	Bucket string // database/retention policy, the v2 name of it

	tb   testing.TB
	dir  string
	rpc  string
	http string
	cmd  *exec.Cmd
	log  *os.File
}

const database = "plant"

// Start runs a server until the test ends.
func Start(tb testing.TB) *Server {
	tb.Helper()
	s := &Server{Bucket: database + "/autogen", tb: tb, dir: tb.TempDir(), http: freeAddress(tb), rpc: freeAddress(tb)}
	s.URL = "http://" + s.http
	s.Restart()
	tb.Cleanup(s.Stop)
	s.get("/query", url.Values{"q": {"CREATE DATABASE " + database}}, http.MethodPost)
	return s
}

// Binary returns the path of the server or ends the test.
func Binary(tb testing.TB) string {
	tb.Helper()
	peers := os.Getenv("OHMDRIFT_PEERS")
	if peers == "" {
		home, err := os.UserHomeDir()
		if err != nil {
			tb.Fatal(err)
		}
		peers = filepath.Join(home, ".cache", "ohmdrift", "peers")
	}
	path := filepath.Join(peers, "influxd")
	if _, err := os.Stat(path); err != nil {
		tb.Fatalf("no InfluxDB server at %s: run deploy/test once: it builds the server (or deploy/peers/influxd alone)", path)
	}
	return path
}

// Restart starts the server, with the same address and data if it ran before,
// and waits until it answers.
func (s *Server) Restart() {
	s.tb.Helper()
	var err error
	if s.log, err = os.OpenFile(filepath.Join(s.dir, "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600); err != nil {
		s.tb.Fatal(err)
	}
	s.cmd = exec.Command(Binary(s.tb), "run", "-config", os.DevNull)
	s.cmd.Stdout, s.cmd.Stderr = s.log, s.log
	s.cmd.Env = append(os.Environ(),
		"INFLUXDB_REPORTING_DISABLED=true", "INFLUXDB_BIND_ADDRESS="+s.rpc, "INFLUXDB_MONITOR_STORE_ENABLED=false",
		"INFLUXDB_META_DIR="+filepath.Join(s.dir, "meta"), "INFLUXDB_DATA_DIR="+filepath.Join(s.dir, "data"),
		"INFLUXDB_DATA_WAL_DIR="+filepath.Join(s.dir, "wal"), "INFLUXDB_HTTP_BIND_ADDRESS="+s.http,
		"INFLUXDB_HTTP_FLUX_ENABLED=true", "INFLUXDB_HTTP_LOG_ENABLED=false")
	if err := s.cmd.Start(); err != nil {
		s.tb.Fatal(err)
	}
	s.wait()
}

// wait asks /ping at a tick until the server answers.
func (s *Server) wait() {
	s.tb.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		req, _ := http.NewRequestWithContext(ctx, http.MethodGet, s.URL+"/ping", nil)
		if resp, err := http.DefaultClient.Do(req); err == nil {
			_ = resp.Body.Close()
			if resp.StatusCode == http.StatusNoContent {
				return
			}
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			text, _ := os.ReadFile(filepath.Join(s.dir, "log"))
			s.tb.Fatalf("InfluxDB server does not answer at %s:\n%s", s.URL, text)
		}
	}
}

// Stop kills the server as a power cut would; Restart brings it back.
func (s *Server) Stop() {
	if s.cmd == nil {
		return
	}
	http.DefaultClient.CloseIdleConnections()
	_ = s.cmd.Process.Kill()
	_ = s.cmd.Wait() // "killed" is what we asked for
	_ = s.log.Close()
	s.cmd = nil
}

// Do runs an InfluxQL statement.
func (s *Server) Do(statement string) string {
	s.tb.Helper()
	return s.get("/query", url.Values{"q": {statement}, "db": {database}}, http.MethodPost)
}

func (s *Server) get(path string, q url.Values, method string) string {
	s.tb.Helper()
	req, err := http.NewRequest(method, s.URL+path+"?"+q.Encode(), nil)
	if err != nil {
		s.tb.Fatal(err)
	}
	return s.body(req)
}

func (s *Server) body(req *http.Request) string {
	s.tb.Helper()
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		s.tb.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode >= 300 {
		s.tb.Fatalf("%s %s: %s %s %v", req.Method, req.URL, resp.Status, text, err)
	}
	return string(text)
}

// Flux runs a Flux query and returns its rows by column name.
func (s *Server) Flux(query string) []map[string]string {
	s.tb.Helper()
	req, err := http.NewRequest(http.MethodPost, s.URL+"/api/v2/query", bytes.NewReader([]byte(query)))
	if err != nil {
		s.tb.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/vnd.flux")
	req.Header.Set("Accept", "application/csv")
	var rows []map[string]string
	for _, table := range strings.Split(s.body(req), "\r\n\r\n") { // an empty line parts tables of other columns
		r := csv.NewReader(strings.NewReader(table))
		r.Comment = '#' // annotations
		lines, err := r.ReadAll()
		if err != nil {
			s.tb.Fatalf("flux answer: %v in %q", err, table)
		}
		for i := 1; i < len(lines); i++ {
			row := map[string]string{}
			for j, name := range lines[0] {
				row[name] = lines[i][j]
			}
			rows = append(rows, row)
		}
	}
	return rows
}

// Count returns how many points have a field, read by Flux. Moments are counted
// once: a batch on its way when the server was killed is sent again.
func (s *Server) Count(field string) int {
	s.tb.Helper()
	n := 0
	for _, row := range s.Flux(fmt.Sprintf(`from(bucket: %q) |> range(start: 1970-01-01T00:00:00Z, stop: 2100-01-01T00:00:00Z)
	|> filter(fn: (r) => r._measurement == "rtd" and r._field == %q) |> unique(column: "_time") |> count()`, s.Bucket, field)) {
		c, err := strconv.Atoi(row["_value"])
		if err != nil {
			s.tb.Fatalf("flux count: %v", row)
		}
		n += c
	}
	return n
}

// freeAddress finds a free loopback port. Another process could take it before
// the server does; the server then does not answer and the test says so.
func freeAddress(tb testing.TB) string {
	tb.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		tb.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}
