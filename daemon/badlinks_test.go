package daemon_test

import (
	"bytes"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"ohmdrift/config"
	"ohmdrift/daemon"
	"ohmdrift/daemon/web"
	"ohmdrift/diagnostics/measure"
)

// lockedLog is a log that a test can read while the daemon writes it.
type lockedLog struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedLog) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedLog) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// A host that does not resolve, a serial port that is missing and a register map
// that reads outside its device: each says so with its place, and every other
// loop keeps its second.
func TestBadLinksSpeakAndOthersPollOn(t *testing.T) {
	t.Parallel() // it waits for polls most of the time
	p, _ := larkfield(t, time.Second)
	p = copyPlant(p)
	const nowhere, port, outside = 0, 1, 2 // loops that are sent astray
	p.Links = append(p.Links,
		config.Link{Name: "attic", URL: "tcp://no-such-host.larkfield.invalid:502", SoleMaster: true},
		config.Link{Name: "cellar", URL: "rtu:///dev/no-such-port", SoleMaster: true, Baud: 9600, DataBits: 8, Parity: "even", StopBits: 1})
	p.Loops[nowhere].Link, p.Loops[port].Link = len(p.Links)-2, len(p.Links)-1
	p.Loops[outside].Base += 30000
	want := map[int]string{nowhere: "no-such-host.larkfield.invalid", port: "/dev/no-such-port", outside: "unit"}

	log := &lockedLog{}
	d, err := daemon.Open(p, daemon.Options{Log: zerolog.New(log)})
	if err != nil {
		t.Fatal(err)
	}
	stop := running(t, d)
	until(t, d, 5*60)
	rows := d.Overview().Loops
	stop()
	for i, text := range want {
		if r := rows[i]; r.Quality.Usable() || !strings.Contains(r.Problem, text) {
			t.Errorf("%s: quality %s, problem %q; want a problem that names %q", r.Spec.Tag, r.Quality, r.Problem, text)
		}
	}
	checkOthers(t, rows, want)
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"no-such-host.larkfield.invalid", "/dev/no-such-port"} {
		if !strings.Contains(log.String(), text) {
			t.Errorf("the log never names %s:\n%s", text, log)
		}
	}
	for i := range p.Loops {
		if _, bad := want[i]; bad {
			continue
		}
		at := slots(t, p.Store.Dir, p.Loops[i].Tag)
		for k := 1; k < len(at); k++ {
			if gap := at[k].Sub(at[k-1]); gap != time.Second {
				t.Errorf("%s: %s between two slots beside bad links, want 1 s", p.Loops[i].Tag, gap)
			}
		}
	}
}

func checkOthers(t *testing.T, rows []web.Row, bad map[int]string) {
	t.Helper()
	good := 0
	for i, r := range rows {
		if _, ok := bad[i]; !ok && r.Quality == measure.Good {
			good++
		}
	}
	if want := len(rows) - len(bad) - 2; good < want { // the seed may break a lead or silence a device
		t.Errorf("%d loops good beside bad links, want at least %d", good, want)
	}
}
