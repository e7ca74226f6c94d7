package demo

import (
	"bytes"
	"compress/gzip"
	"net/http"
	"testing"
)

func post(t *testing.T, url string, body []byte, gz bool) int {
	t.Helper()
	q, err := http.NewRequestWithContext(t.Context(), http.MethodPost, url, bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if gz {
		q.Header.Set("Content-Encoding", "gzip")
	}
	resp, err := http.DefaultClient.Do(q)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	return resp.StatusCode
}

func TestReceiverCountsWhatItCouldRead(t *testing.T) {
	r, err := startReceiver()
	if err != nil {
		t.Fatal(err)
	}
	defer r.close()
	url := r.url() + "/api/v2/write?bucket=b&org=o&precision=s"
	two := []byte("rtd,site=L,area=A,loop=TT-1 a1_ohm=0.5 1700000000\nrtd,site=L,area=A,loop=TT-2 a1_ohm=0.5 1700000000\n")
	if got := post(t, url, two, false); got != http.StatusNoContent {
		t.Fatalf("plain write answered %d, want 204", got)
	}
	var z bytes.Buffer
	g := gzip.NewWriter(&z)
	g.Write(two)
	g.Close()
	if got := post(t, url, z.Bytes(), true); got != http.StatusNoContent {
		t.Fatalf("gzip write answered %d, want 204", got)
	}
	if got := post(t, url, []byte("rtd,loop=TT-1 a1_ohm=NaN?? 1\n"), false); got != http.StatusBadRequest {
		t.Fatalf("broken line answered %d, want 400", got)
	}
	if points, series, refused := r.counts(); points != 4 || series != 2 || refused != 1 {
		t.Fatalf("points %d series %d refused %d, want 4, 2, 1", points, series, refused)
	}
}
