package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"ohmdrift/config"
	"ohmdrift/daemon/demo"
	"ohmdrift/deploy/example"
	"ohmdrift/devices/plant"
)

// asCommand makes this test binary run as the ohmdrift command: real processes
// that take real signals.
const asCommand = "OHMDRIFT_TEST_COMMAND"

func TestMain(m *testing.M) {
	if os.Getenv(asCommand) != "" {
		os.Exit(execute(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
	}
	os.Exit(m.Run())
}

// command returns a started-later process of ohmdrift.
func command(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	c := exec.CommandContext(t.Context(), os.Args[0], args...)
	c.Env = append(os.Environ(), asCommand+"=1")
	return c
}

// site writes the example plant to a folder, with links at simulated
// transmitters that have the given faults and the page on a free port, and
// returns its file and page.
func site(t *testing.T, faults ...plant.Placed) (file, page string) {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, example.Files); err != nil {
		t.Fatal(err)
	}
	p, err := config.LoadFS(example.Files, example.Main)
	if err != nil {
		t.Fatal(err)
	}
	conf := demo.PlantConfig(p)
	conf.Faults = faults
	for i := range conf.Links {
		conf.Links[i] = "127.0.0.1:0"
	}
	sim, err := plant.New(conf)
	if err != nil {
		t.Fatal(err)
	}
	bound, err := sim.Listen()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(sim.Close)
	page = freeAddress(t)
	file = filepath.Join(dir, example.Main)
	edit(t, file, "listen: 127.0.0.1:8480", "listen: "+page)
	for i, l := range p.Links {
		edit(t, file, l.URL, "tcp://"+bound[i])
	}
	return file, page
}

func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

func edit(t *testing.T, file, from, to string) {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(b, []byte(from)) {
		t.Fatalf("%s: no %q to replace", file, from)
	}
	if err := os.WriteFile(file, bytes.ReplaceAll(b, []byte(from), []byte(to)), 0o600); err != nil {
		t.Fatal(err)
	}
}

// logLine waits for a line of the daemon's log with the given message.
func logLine(t *testing.T, log *bufio.Scanner, message string) map[string]any {
	t.Helper()
	var seen []string
	for log.Scan() {
		seen = append(seen, log.Text())
		var line map[string]any
		if json.Unmarshal(log.Bytes(), &line) == nil && line["message"] == message {
			return line
		}
	}
	t.Fatalf("the log ended without %q:\n%s", message, strings.Join(seen, "\n"))
	return nil
}

func TestRunReloadsByHangup(t *testing.T) {
	file, page := site(t)
	c := command(t, "run", "--config", file)
	stderr, err := c.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	log := bufio.NewScanner(stderr)
	logLine(t, log, "daemon started")

	edit(t, file, "interval: 1 s", "interval: 2 s")
	hangup(t, c)
	if line := logLine(t, log, "plant reloaded"); !strings.Contains(fmt.Sprint(line["diff"]), "TT-2101") {
		t.Errorf("the reload names no changed loop: %v", line["diff"])
	}

	edit(t, file, "interval: 2 s", "intervall: 2 s")
	hangup(t, c)
	refused := logLine(t, log, "changed config refused, the old plant keeps running")
	for _, want := range []string{"larkfield.yaml:", "intervall", "interval"} {
		if !strings.Contains(fmt.Sprint(refused["error"]), want) {
			t.Errorf("the refusal %q does not say %q", refused["error"], want)
		}
	}
	if loops := liveLoops(t, page); loops != 60 {
		t.Errorf("%d loops polled after a refused config, want 60", loops)
	}

	if err := c.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	_, _ = io.Copy(io.Discard, stderr) // to the end of the process
	if err := c.Wait(); err != nil {
		t.Errorf("run ended with %v after SIGTERM, want exit 0", err)
	}
}

func hangup(t *testing.T, c *exec.Cmd) {
	t.Helper()
	if err := c.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
}

// liveLoops asks the page how many loops have been polled, until all have or
// the test ends.
func liveLoops(t *testing.T, page string) (polled int) {
	t.Helper()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for range 200 {
		polled = 0
		for _, l := range askLoops(t, page) {
			if l.PollTime != nil {
				polled++
			}
		}
		if polled == 60 {
			return polled
		}
		<-tick.C
	}
	return polled
}

type askedLoop struct {
	Loop     string  `json:"loop"`
	PollTime *string `json:"poll_time"`
}

func askLoops(t *testing.T, page string) []askedLoop {
	t.Helper()
	resp, err := http.Get("http://" + page + "/api/loops")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	var answer struct {
		Loops []askedLoop `json:"loops"`
	}
	if err := json.NewDecoder(resp.Body).Decode(&answer); err != nil {
		t.Fatal(err)
	}
	return answer.Loops
}

func TestRunRefusesABadConfig(t *testing.T) {
	file, _ := site(t)
	edit(t, file, "sole-master: true", "sole_master: yes")
	out, err := command(t, "run", "--config", file).CombinedOutput()
	if code := exitOf(err); code != exitBad {
		t.Fatalf("exit %d, want %d\n%s", code, exitBad, out)
	}
	if !bytes.Contains(out, []byte("larkfield.yaml:")) {
		t.Errorf("no place in %s", out)
	}
}

func exitOf(err error) int {
	if e, ok := err.(*exec.ExitError); ok {
		return e.ExitCode()
	}
	if err != nil {
		return -1
	}
	return 0
}

func TestDemoEndsByItselfAndCounts(t *testing.T) {
	one, two := demoSummary(t, "1"), demoSummary(t, "2")
	for _, s := range []demo.Summary{one, two} {
		if s.Loops != 60 || s.Polls < 120 || s.Good == 0 || s.PointsSent == 0 || s.StoredValues < 60*29*144 || len(s.Findings) == 0 {
			t.Errorf("summary %+v", s)
		}
	}
	if fmt.Sprint(one.Findings) == fmt.Sprint(two.Findings) {
		t.Errorf("two seeds name the same loops: %v", one.Findings)
	}
}

func demoSummary(t *testing.T, seed string) (s demo.Summary) {
	t.Helper()
	c := command(t, "demo", "--seed", seed, "--for", "3s", "--json", "--past", "720h", "--listen", "127.0.0.1:0")
	var errs bytes.Buffer
	c.Stderr = &errs
	out, err := c.Output()
	if err != nil {
		t.Fatalf("demo: %v\n%s", err, errs.String())
	}
	if err := json.Unmarshal(out, &s); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	return s
}
