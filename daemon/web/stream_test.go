package web

import (
	"bufio"
	"compress/gzip"
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"ohmdrift/diagnostics/measure"
)

// reader is one open stream of events.
type reader struct {
	t     *testing.T
	lines *bufio.Scanner
}

// listen opens a stream over a real connection.
func listen(t *testing.T, address string, packed bool) *reader {
	t.Helper()
	ctx, stop := context.WithTimeout(context.Background(), 20*time.Second)
	t.Cleanup(stop)
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, address, nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Transport: &http.Transport{DisableCompression: true}}
	t.Cleanup(client.CloseIdleConnections)
	if packed {
		r.Header.Set("Accept-Encoding", "gzip")
	}
	res, err := client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = res.Body.Close() })
	if got := res.Header.Get("Content-Type"); got != "text/event-stream" {
		t.Fatalf("%d, content type %q", res.StatusCode, got)
	}
	s := bufio.NewScanner(res.Body)
	if packed {
		gz, err := gzip.NewReader(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		s = bufio.NewScanner(gz)
	}
	s.Buffer(nil, 1<<22)
	return &reader{t, s}
}

// next returns the next event; ok false = the stream has ended.
func (r *reader) next() (name string, u update, ok bool) {
	r.t.Helper()
	for r.lines.Scan() {
		line := r.lines.Text()
		if e, is := strings.CutPrefix(line, "event: "); is {
			name = e
		}
		if data, is := strings.CutPrefix(line, "data: "); is {
			if err := json.Unmarshal([]byte(data), &u); err != nil {
				r.t.Fatalf("%v in %s", err, data)
			}
			return name, u, true
		}
	}
	return "", update{}, false
}

// until reads events until one satisfies f.
func (r *reader) until(what string, f func(update) bool) update {
	r.t.Helper()
	for range 8 {
		if _, u, ok := r.next(); ok && f(u) {
			return u
		}
	}
	r.t.Fatalf("no event with %s", what)
	return update{}
}

func TestStreamSendsOnlyWhatChanged(t *testing.T) {
	p := larkfield(15, time.Now())
	address, _ := serve(t, p)
	for _, packed := range []bool{false, true} {
		r := listen(t, address+"/stream", packed)
		_, first, _ := r.next()
		if !strings.Contains(first.Blocks["rows"], "TT-1115") || len(first.Texts) > 2 {
			t.Fatalf("first event has blocks of %d bytes and texts %v", len(first.Blocks["rows"]), first.Texts)
		}
		row := rowOf(t, first.Blocks["rows"], "TT-1102")
		p.change("TT-1102", func(l *Loop) {
			l.Values.At = l.Values.At.Add(time.Second)
			l.Values.Leads[measure.B1] += 0.001
		})
		u := r.until("the new lead", func(u update) bool { return u.Texts[row+".b1"] != "" })
		if len(u.Texts) != 1 || len(u.Blocks) != 0 || len(u.AtS) != 1 {
			t.Errorf("one lead and its time changed; sent %+v", u)
		}
	}
}

// rowOf finds the id of a loop's row.
func rowOf(t *testing.T, rows, tag string) string {
	t.Helper()
	for _, row := range strings.Split(rows, "<tr ")[1:] {
		if strings.Contains(row, ">"+tag+"<") {
			return strings.Split(row, `"`)[1]
		}
	}
	t.Fatalf("%s is not in the table", tag)
	return ""
}

func TestStreamFollowsTheQuery(t *testing.T) {
	address, _ := serve(t, larkfield(15, time.Now()))
	_, u, _ := listen(t, address+"/stream?"+url.Values{"area": {"Recovery"}}.Encode(), false).next()
	if rows := u.Blocks["rows"]; !strings.Contains(rows, "TT-1113") || strings.Contains(rows, "TT-1101") {
		t.Errorf("the stream of one area has rows %s", rows)
	}
}

func TestALoopThatTurnsBadMovesToTheTop(t *testing.T) {
	p := larkfield(15, time.Now())
	address, _ := serve(t, p)
	r := listen(t, address+"/stream", false)
	_, _, _ = r.next()
	p.change("TT-1102", func(l *Loop) { degrade(l, measure.B1, 0.19, time.Now()) })
	u := r.until("rows", func(u update) bool { return u.Blocks["rows"] != "" })
	if strings.Index(u.Blocks["rows"], "TT-1102") > strings.Index(u.Blocks["rows"], "TT-1101") || u.Blocks["chips"] == "" {
		t.Error("the loop stands below a better one, or the counts did not change")
	}
}

func TestLoopStream(t *testing.T) {
	p := larkfield(15, time.Now())
	address, _ := serve(t, p)
	r := listen(t, address+"/stream/TT-1101", false)
	_, first, _ := r.next()
	if !strings.Contains(first.Blocks["now"], "0.126 Ω") {
		t.Fatalf("first event: %v", first)
	}
	p.change("TT-1101", func(l *Loop) { l.Values.Leads[measure.B1] = 0.811 })
	u := r.until("the lead", func(u update) bool { return len(u.Texts) > 0 })
	if u.Texts["leads.b1"] != "0.811" || u.Texts["circuit.wide-b1"] != "0.811" || len(u.Blocks) != 0 {
		t.Errorf("sent %+v", u)
	}
	p.mu.Lock()
	p.loops = nil
	p.mu.Unlock()
	for name, _, ok := r.next(); ; name, _, ok = r.next() {
		if !ok {
			t.Fatal("the stream of a removed loop ended without a word")
		}
		if name == "gone" {
			break
		}
	}
}

func TestStopEndsEveryStream(t *testing.T) {
	address, stop := serve(t, larkfield(3, time.Now()))
	r := listen(t, address+"/stream", true)
	_, _, _ = r.next()
	stop() // waits for the streams
	for {
		if _, _, ok := r.next(); !ok {
			return
		}
	}
}

func TestTooManyStreamsAreRefused(t *testing.T) {
	h := newHub(newPlant(noon))
	for range maxStreams {
		if _, ok := h.join(); !ok {
			t.Fatal("refused too early")
		}
	}
	if _, ok := h.join(); ok {
		t.Errorf("stream %d was let in", maxStreams+1)
	}
	h.leave()
	if _, ok := h.join(); !ok {
		t.Error("a place that was left is not free")
	}
}

// A reader that was busy for several beats gets the newest and nothing between.
func TestASlowReaderGetsTheNewest(t *testing.T) {
	h := newHub(newPlant(noon))
	first := h.now
	got := make(chan tick)
	go func() {
		k, _ := h.wait(context.Background())
		got <- k
	}()
	for range 3 {
		h.beat()
	}
	for { // the goroutine may have come to wait only now
		select {
		case k := <-got:
			if !k.at.After(first.at) {
				t.Errorf("beat of %v, want one after %v", k.at, first.at)
			}
			return
		default:
			h.beat()
		}
	}
}

func TestOverviewIsFetchedOnceForAllStreams(t *testing.T) {
	p := &countingPlant{plant: larkfield(3, noon)}
	h := newHub(p)
	k := h.tick(noon)
	for range 5 {
		k.overview()
	}
	if p.overviews != 1 {
		t.Errorf("fetched %d times for one beat", p.overviews)
	}
}

type countingPlant struct {
	*plant
	overviews int
}

func (c *countingPlant) Overview() Overview {
	c.overviews++
	return c.plant.Overview()
}
