package main

import (
	"encoding/binary"
	"encoding/json"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"ohmdrift/devices/wiretest"
)

// transmitters answers for unit 1 with a1, b1, b2 of 0.5 Ω and 25.00 °C; the
// other units are as the test wants them.
func transmitters(t *testing.T, others wiretest.Script) int {
	t.Helper()
	p := wiretest.NewPeer(true, func(r wiretest.Request) ([]byte, bool) {
		if r.Unit != 1 {
			return others(r)
		}
		regs := [...]uint16{500, 500, 500, 2500}
		pdu := []byte{r.Fn, byte(2 * r.Count)}
		for i := range r.Count {
			pdu = binary.BigEndian.AppendUint16(pdu, regs[r.Addr+i])
		}
		return r.Frame(pdu), false
	})
	_, port, err := net.SplitHostPort(p.Listen(t, nil))
	if err != nil {
		t.Fatal(err)
	}
	n, err := strconv.Atoi(port)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func refuse(code byte) wiretest.Script {
	return func(r wiretest.Request) ([]byte, bool) { return r.Exception(code), false }
}

func TestRead(t *testing.T) {
	file := twoLoops(t, transmitters(t, refuse(11)))
	code, out, errs := ran(t, "read", "--config", file)
	if code != exitBad || errs != "" {
		t.Errorf("exit %d %s; want 1, since one loop is in trouble", code, errs)
	}
	for _, want := range []string{"TT-1", "0.500", "25.00", "good", "TT-2", "comms", "exception 0B", "2 loops read"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not shown in\n%s", want, out)
		}
	}
	if code, out, errs = ran(t, "read", "--config", file, "TT-1"); code != exitGood || strings.Contains(out, "TT-2") {
		t.Errorf("one sound loop: exit %d %s\n%s", code, errs, out)
	}
	if code, _, errs = ran(t, "read", "--config", file, "TT-7"); code != exitBad || !strings.Contains(errs, "no loop TT-7") {
		t.Errorf("a loop that is not there: exit %d %s", code, errs)
	}
}

func TestReadJSON(t *testing.T) {
	file := twoLoops(t, transmitters(t, refuse(2)))
	_, out, _ := ran(t, "read", "--config", file, "--json")
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if len(lines) != 2 {
		t.Fatalf("%d lines: %s", len(lines), out)
	}
	var got [2]readJSON
	for i, l := range lines {
		if err := json.Unmarshal([]byte(l), &got[i]); err != nil {
			t.Fatal(err)
		}
	}
	if g := got[0]; g.Loop != "TT-1" || g.Quality != "good" || *g.A1 != 0.5 || *g.Reading != 25 || g.A2 != nil || g.Problem != "" {
		t.Errorf("%+v", g)
	}
	if g := got[1]; g.Quality != "configuration" || g.A1 != nil || !strings.Contains(g.Problem, "unit 2 input registers 0..3") {
		t.Errorf("%+v", g)
	}
}

func TestReadScan(t *testing.T) {
	file := twoLoops(t, transmitters(t, refuse(2)))
	code, out, errs := ran(t, "read", "--config", file, "--scan", "--units", "1-2", "--profile", "leads")
	if code != exitGood || !strings.Contains(out, "reading=25") || !strings.Contains(out, "exception 02") {
		t.Errorf("exit %d %s\n%s", code, errs, out)
	}
	for _, wrong := range [][]string{{"--units", "0-3"}, {"--units", "x"}, {"--profile", "none"}} {
		args := append([]string{"read", "--config", file, "--scan"}, wrong...)
		if code, _, errs := ran(t, args...); code != exitUsage || errs == "" {
			t.Errorf("%v: exit %d %s", wrong, code, errs)
		}
	}
}

func TestCheckProbe(t *testing.T) {
	file := twoLoops(t, transmitters(t, refuse(2)))
	code, out, errs := ran(t, "check", "--config", file, "--probe")
	if code != exitBad || !strings.Contains(out, "1 of 2 loops answer as described") || !strings.Contains(out, "TT-2") || strings.Contains(out, "TT-1 ") {
		t.Errorf("exit %d %s\n%s", code, errs, out)
	}
}

// TestCheckPermit: everything that must be approved is there, and every loop.
func TestCheckPermit(t *testing.T) {
	code, out, errs := ran(t, "check", "--config", exampleConfig, "--permit")
	if code != exitGood || errs != "" {
		t.Fatalf("exit %d %s", code, errs)
	}
	for _, want := range []string{
		"It only reads", "Link harvest: tcp to 127.0.0.1:15023, 1 connection, shared with other masters", "never more than 20 requests/s",
		"│    1 │ 03       │ 0 to 9                   │ 1 s   │ TT-2211", "Other connections",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not shown", want)
		}
	}
	var doc permitJSON
	_, out, _ = ran(t, "check", "--config", exampleConfig, "--permit", "--json")
	if err := json.Unmarshal([]byte(out), &doc); err != nil {
		t.Fatal(err)
	}
	loops := map[string]bool{}
	for _, l := range doc.Links {
		for _, r := range l.Requests {
			if r.Function != 3 && r.Function != 4 && r.Function != 43 {
				t.Errorf("function %d is to be permitted", r.Function)
			}
			for _, tag := range r.Loops {
				loops[tag] = true
			}
		}
	}
	if len(loops) != 60 || len(doc.Links) != 6 {
		t.Errorf("%d links with %d loops, want 6 with 60", len(doc.Links), len(loops))
	}
}

// TestProbeSuggestsByteOrder: a profile with swapped words is told the order
// that makes sense.
func TestProbeSuggestsByteOrder(t *testing.T) {
	dir := t.TempDir()
	p := wiretest.NewPeer(true, func(r wiretest.Request) ([]byte, bool) {
		// 0.5 Ω twice, 109.73465625 Ω and 25 °C as singles, words swapped.
		regs := []byte{0, 0, 0x3F, 0, 0, 0, 0x3F, 0, 0x78, 0x25, 0x42, 0xDB, 0, 0, 0x41, 0xC8}
		return r.Frame(append([]byte{r.Fn, byte(2 * r.Count)}, regs[2*r.Addr:2*(r.Addr+r.Count)]...)), false
	})
	files := map[string]string{
		"map.yaml": `
name: floats
table: input
address-base: 0
fields:
  - {quantity: a1, address: 0, type: float32, order: ABCD, unit: Ohm}
  - {quantity: b1, address: 2, type: float32, order: ABCD, unit: Ohm}
  - {quantity: sensor, address: 4, type: float32, order: ABCD, unit: Ohm}
  - {quantity: reading, address: 6, type: float32, order: ABCD, unit: degC}
`,
		"plant.yaml": `
site: Larkfield
profiles: [map.yaml]
links:
  - {name: skid, url: "tcp://` + p.Listen(t, nil) + `", sole-master: true}
loops:
  - {tag: TT-1, unit: 1, base: 0, link: skid, profile: floats, method: two-wire, reports: reading, cable-length: 40 m, conductor: 0.75 mm2, service: cold store}
`,
	}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	code, out, errs := ran(t, "check", "--config", filepath.Join(dir, "plant.yaml"), "--probe")
	if code != exitBad || !strings.Contains(out, "CDAB") || !strings.Contains(out, "configuration") {
		t.Errorf("exit %d %s\n%s", code, errs, out)
	}
}
