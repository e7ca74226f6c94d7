package forward

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/influxdata/influxdb-client-go/v2/api"
)

// server is the write API of one bucket.
type server struct {
	client influxdb2.Client
	writer api.WriteAPIBlocking
	idle   *http.Transport
}

func newServer(o Options) *server {
	t := http.DefaultTransport.(*http.Transport).Clone()
	// EnableBatching is never called: with it a failed call loses its points.
	c := influxdb2.NewClientWithOptions(o.URL, o.Token, influxdb2.DefaultOptions().
		SetHTTPClient(&http.Client{Transport: witness{t}, Timeout: o.Timeout}).
		SetPrecision(time.Second).
		SetUseGZip(true).
		SetApplicationName("ohmdrift"))
	return &server{c, c.WriteAPIBlocking(o.Org, o.Bucket), t}
}

func (s *server) close() {
	s.client.Close()
	s.idle.CloseIdleConnections()
}

// write sends lines; the error is a *refusal when the server answered.
func (s *server) write(ctx context.Context, lines []byte) error {
	var got answer
	err := s.writer.WriteRecord(context.WithValue(ctx, answerKey{}, &got), string(lines))
	switch {
	case got.status >= 300:
		return newRefusal(&got)
	case err != nil && got.status == 0:
		return &noAnswer{err}
	case err != nil:
		return fmt.Errorf("time-series server: %w", err)
	case got.status == 0:
		return errStopped // the client did not send: its context has ended
	}
	return nil
}

// noAnswer is a server that is not there, for whatever reason at the moment.
type noAnswer struct{ cause error }

func (e *noAnswer) Error() string { return "time-series server does not answer: " + e.cause.Error() }
func (e *noAnswer) Unwrap() error { return e.cause }

// answer is what the server said.
type answer struct {
	status int
	header http.Header
	body   []byte
}

type answerKey struct{}

// maxAnswer bounds how much of an error text is read.
const maxAnswer = 64 << 10

// witness keeps the status of each response for the caller, who finds it in the
// context: the library hides it for partial writes.
type witness struct{ next http.RoundTripper }

// RoundTrip is http.RoundTripper.
func (w witness) RoundTrip(req *http.Request) (*http.Response, error) {
	resp, err := w.next.RoundTrip(req)
	got, _ := req.Context().Value(answerKey{}).(*answer)
	if err != nil || got == nil {
		return resp, err
	}
	got.status, got.header = resp.StatusCode, resp.Header
	if resp.StatusCode >= 300 {
		got.body, err = io.ReadAll(io.LimitReader(resp.Body, maxAnswer))
		_ = resp.Body.Close()
		resp.Body = io.NopCloser(bytes.NewReader(got.body))
	}
	return resp, err
}

// refusal is an answer that is not success.
type refusal struct {
	status  int
	text    string
	after   time.Duration // asked for by Retry-After
	dropped int           // lines not stored, of a partial write; 0 = not said
}

var droppedCount = regexp.MustCompile(`\bdropped=(\d+)`)

func newRefusal(a *answer) *refusal {
	r := &refusal{status: a.status, text: message(a), after: retryAfter(a.header.Get("Retry-After"), time.Now())}
	if m := droppedCount.FindStringSubmatch(r.text); m != nil {
		r.dropped, _ = strconv.Atoi(m[1]) // digits only; beyond int it is no count
	}
	return r
}

// message finds the text in a JSON error of either version, or takes the body.
func message(a *answer) string {
	var j struct{ Message, Error string }
	text := string(a.body)
	if json.Unmarshal(a.body, &j) == nil && j.Message+j.Error != "" {
		text = j.Message
		if text == "" {
			text = j.Error
		}
	}
	const most = 300
	if text = strings.TrimSpace(text); len(text) > most {
		text = text[:most] + "…"
	}
	return text
}

// retryAfter reads seconds or an HTTP date.
func retryAfter(s string, now time.Time) time.Duration {
	if n, err := strconv.Atoi(s); err == nil && n > 0 {
		return min(time.Duration(n)*time.Second, maxRetryAfter)
	}
	if t, err := http.ParseTime(s); err == nil && t.After(now) {
		return min(t.Sub(now), maxRetryAfter)
	}
	return 0
}

// maxRetryAfter bounds what a server may ask for: its clock may be wrong.
const maxRetryAfter = 15 * time.Minute

// Error names the status and what the server said.
func (r *refusal) Error() string {
	return fmt.Sprintf("time-series server answers %d %s: %s", r.status, http.StatusText(r.status), r.text)
}

func (r *refusal) waitFor() time.Duration {
	if r == nil {
		return 0
	}
	return r.after
}

// ofContent reports whether the lines themselves are at fault.
func (r *refusal) ofContent() bool {
	switch r.status {
	case http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity:
		return true
	}
	return false
}

// advice says what to do about a refusal that is not the lines' fault.
func (r *refusal) advice() string {
	switch r.status {
	case http.StatusUnauthorized, http.StatusForbidden:
		return "check the token and that it may write to the bucket"
	case http.StatusNotFound:
		return "check url, org and bucket"
	case http.StatusTooManyRequests:
		return "the server limits the rate; results wait"
	}
	return "results wait in the queue"
}
