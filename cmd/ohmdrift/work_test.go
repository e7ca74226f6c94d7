package main

import (
	"bytes"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// What was done goes to the daemon as it was said and ends work mode; a mistake on the
// command line says what to write instead and asks for nothing.
func TestWorkSaysWhatWasDone(t *testing.T) {
	var asked []string
	page := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			t.Error(err)
		}
		asked = append(asked, r.Method+" "+r.URL.Path+" "+string(body))
		io.WriteString(w, "{}")
	}))
	defer page.Close()
	for _, c := range []struct {
		args []string
		code int
		says string
		asks string
	}{
		{[]string{"--done", "retightened b1"}, exitGood, "learnt anew", `PUT /api/loops/TT-1/work {"done":"retightened b1","seconds":0,"who":"kim"}`},
		{[]string{"--done", "  "}, exitUsage, "say what was done", ""},
		{[]string{"--done", ""}, exitUsage, "say what was done", ""},
		{[]string{"--done", "retightened b1", "--for", "5m"}, exitUsage, "leave --for out", ""},
	} {
		asked = nil
		var out bytes.Buffer
		code := execute(append([]string{"work", "TT-1", "--who", "kim", "--page", page.URL}, c.args...), nil, &out, &out)
		if code != c.code || !strings.Contains(out.String(), c.says) {
			t.Errorf("%q: exit %d, %s", c.args, code, out.String())
		}
		if got := strings.Join(asked, "\n"); got != c.asks {
			t.Errorf("%q asked %q, want %q", c.args, got, c.asks)
		}
	}
}
