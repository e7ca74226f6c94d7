package web

import (
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync"
	"time"
)

const (
	// streamEvery is the cadence of every stream. An event is sent each time,
	// changed or not: its absence tells the page that it is cut off.
	streamEvery = time.Second
	// writeWithin is how long one event may take to leave before the reader is
	// given up.
	writeWithin = 10 * time.Second
	// maxStreams bounds the open streams; more are refused with 503, and the
	// page says that it is not live and tries again.
	maxStreams = 200
)

// snapshot is one Overview, with its loops by tag, shared by all streams.
type snapshot struct {
	Overview
	byTag map[string]*Row
}

func newSnapshot(o Overview) *snapshot {
	s := &snapshot{o, make(map[string]*Row, len(o.Loops))}
	for i := range s.Loops {
		s.byTag[s.Loops[i].Spec.Tag] = &s.Loops[i]
	}
	return s
}

// rows returns the loops of these tags that there still are.
func (s *snapshot) rows(tags []string) []*Row {
	rows := make([]*Row, 0, len(tags))
	for _, t := range tags {
		if r := s.byTag[t]; r != nil {
			rows = append(rows, r)
		}
	}
	return rows
}

// tick is one beat of the hub. The overview is fetched by the first stream that
// needs it, and only then.
type tick struct {
	at       time.Time
	overview func() *snapshot
}

// hub gives the beat to all streams. A stream that is busy writing misses beats
// and then gets the newest: there is no queue to fill.
type hub struct {
	src Source

	mu      sync.Mutex
	readers int
	now     tick
	next    chan struct{} // closed at the next beat
}

func newHub(src Source) *hub {
	h := &hub{src: src, next: make(chan struct{})}
	h.now = h.tick(time.Now())
	return h
}

func (h *hub) tick(at time.Time) tick {
	return tick{at, sync.OnceValue(func() *snapshot { return newSnapshot(h.src.Overview()) })}
}

// run beats until ctx ends.
func (h *hub) run(ctx context.Context) {
	t := time.NewTicker(streamEvery)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			h.beat()
		}
	}
}

func (h *hub) beat() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.now = h.tick(time.Now())
	close(h.next)
	h.next = make(chan struct{})
}

// join adds a reader; false = there are too many. The first tick it gives is of
// this moment, not of the last beat.
func (h *hub) join() (tick, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.readers >= maxStreams {
		return tick{}, false
	}
	h.readers++
	return h.tick(time.Now()), true
}

func (h *hub) leave() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.readers--
}

// wait returns the beat after this moment; false when ctx ended first.
func (h *hub) wait(ctx context.Context) (tick, bool) {
	h.mu.Lock()
	next := h.next
	h.mu.Unlock()
	select {
	case <-ctx.Done():
		return tick{}, false
	case <-next:
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.now, true
}

// serveStream answers with an event a second, each the difference to the one
// before, until the reader goes, the server stops or next has no more to show.
func (s *Server) serveStream(w http.ResponseWriter, r *http.Request, next func(tick) (*frame, bool)) {
	k, ok := s.hub.join()
	if !ok {
		w.Header().Set("Retry-After", "5")
		problem(w, http.StatusServiceUnavailable, "too many pages are open; close some")
		return
	}
	defer s.hub.leave()
	out := newEventWriter(w, r)
	defer out.close()
	var prev *frame
	for ok {
		f, more := next(k)
		if !more {
			_ = out.send("gone", struct{}{}) // the reader hears it or is gone itself
			return
		}
		if err := out.send("update", f.since(prev, k.at.UnixMilli())); err != nil {
			return // the reader is gone: nobody is left to tell
		}
		prev = f
		k, ok = s.hub.wait(r.Context())
	}
}

// eventWriter writes server-sent events, compressed where the reader takes it.
type eventWriter struct {
	out   io.Writer
	gz    *gzip.Writer
	reply *http.ResponseController
}

func newEventWriter(w http.ResponseWriter, r *http.Request) *eventWriter {
	e := &eventWriter{out: w, reply: http.NewResponseController(w)}
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("X-Accel-Buffering", "no") // asks a proxy not to hold events back
	w.Header().Set("Vary", "Accept-Encoding")
	if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		w.Header().Set("Content-Encoding", "gzip")
		e.gz = gzip.NewWriter(w)
		e.out = e.gz
	}
	return e
}

func (e *eventWriter) send(event string, data any) error {
	text, err := json.Marshal(data)
	if err != nil {
		return err
	}
	if err := e.reply.SetWriteDeadline(time.Now().Add(writeWithin)); err != nil {
		return err
	}
	if _, err := fmt.Fprintf(e.out, "event: %s\ndata: %s\n\n", event, text); err != nil {
		return err
	}
	if e.gz != nil {
		if err := e.gz.Flush(); err != nil {
			return err
		}
	}
	return e.reply.Flush()
}

func (e *eventWriter) close() {
	if e.gz != nil {
		_ = e.gz.Close() // the reader is gone or has everything already
	}
}

func (s *Server) serveOverviewStream(w http.ResponseWriter, r *http.Request) {
	t := &overviewStream{server: s, query: parseQuery(r.URL.Query())}
	s.serveStream(w, r, t.next)
}

func (s *Server) serveLoopStream(w http.ResponseWriter, r *http.Request) {
	tag := r.PathValue("tag")
	s.serveStream(w, r, func(k tick) (*frame, bool) {
		l, ok := s.src.Loop(tag)
		if !ok {
			return nil, false
		}
		return newLoopPage(&l, s.src.Progress(), k.at).frame(s.fragment), true
	})
}
