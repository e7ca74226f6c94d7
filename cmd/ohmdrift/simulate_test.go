package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/simonvetter/modbus"

	"ohmdrift/config"
)

// twoLoops is a plant file with one link at a port, and a register map beside it.
func twoLoops(t *testing.T, port int) string {
	t.Helper()
	dir := t.TempDir()
	files := map[string]string{
		"map.yaml": `
name: leads
table: input
address-base: 0
fields:
  - {quantity: a1, address: 0, type: uint16, unit: mOhm}
  - {quantity: b1, address: 1, type: uint16, unit: mOhm}
  - {quantity: b2, address: 2, type: uint16, unit: mOhm}
  - {quantity: reading, address: 3, type: int16, scale: 0.01, unit: degC}
`,
		"plant.yaml": fmt.Sprintf(`
site: Larkfield
profiles: [map.yaml]
links:
  - {name: skid, url: "tcp://127.0.0.1:%d", sole-master: true}
defaults: {link: skid, profile: leads, method: three-wire-dual, reports: all-leads, cable-length: 40 m, conductor: 0.75 mm2, service: cold store}
loops:
  - {tag: TT-1, unit: 1, base: 0}
  - {tag: TT-2, unit: 2, base: 0}
`, port),
	}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "plant.yaml")
}

func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// A client of the Modbus library reads the transmitters that simulate serves.
func TestSimulateServesAPlantFile(t *testing.T) {
	file := twoLoops(t, freePort(t))
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	out, printed := io.Pipe()
	var errs bytes.Buffer
	done := make(chan error, 1)
	go func() {
		s := simulation{file: file, seed: 3, speed: 1, json: true}
		done <- s.run(ctx, printed, &errs)
		printed.Close()
	}()
	var said simulatedJSON
	if err := json.NewDecoder(out).Decode(&said); err != nil {
		t.Fatalf("%v; %v %s", err, <-done, errs.String())
	}
	go io.Copy(io.Discard, out) // ends when run has closed its side
	if said.Site != "Larkfield" || len(said.Links) != 1 || said.Links[0].Loops != 2 || len(said.Faults) != 1 {
		t.Fatalf("says %+v; want one link with two loops, one of them bad", said)
	}
	sound := uint8(1)
	if said.Faults[0].Loop == "TT-1" {
		sound = 2
	}
	c, err := modbus.NewClient(&modbus.ClientConfiguration{URL: "tcp://" + said.Links[0].Address, Timeout: 5 * time.Second, Logger: log.New(io.Discard, "", 0)})
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Open(); err != nil {
		t.Fatal(err)
	}
	c.SetUnitId(sound)
	regs, err := c.ReadRegisters(0, 4, modbus.INPUT_REGISTER)
	if err != nil {
		t.Fatal(err)
	}
	// 40 m of 0.75 mm² class 2 at about 20 °C: 24.5 Ω/km (IEC 60228, a maximum), 0.98 Ω.
	if regs[1] < 900 || regs[1] > 1080 {
		t.Errorf("b1 is %d mΩ, want about 980", regs[1])
	}
	if celsius := float64(int16(regs[3])) / 100; celsius < 0 || celsius > 20 {
		t.Errorf("a cold store at %g °C", celsius)
	}
	c.Close()
	stop()
	if err := <-done; err != nil {
		t.Error(err)
	}
	if !strings.Contains(errs.String(), "answered 1 requests with 4 registers, 0 with exceptions; 0 attempts to write refused") {
		t.Errorf("at the end it says %q", errs.String())
	}
}

func TestSimulatedAddresses(t *testing.T) {
	for _, c := range []struct{ url, listen, want string }{
		{"tcp://127.0.0.1:1502", "", "tcp://127.0.0.1:1502"},
		{"tcp://localhost:1502", "", "tcp://localhost:1502"},
		{"tcp://[::1]:1502", "", "tcp://[::1]:1502"},
		{"tcp://10.0.4.7:502", "127.0.0.1", "tcp://127.0.0.1:502"},
		{"rtuovertcp://127.0.0.1:4001", "", "rtuovertcp://127.0.0.1:4001"},
		{"tcp://10.0.4.7:502", "", ""}, // another machine
		{"rtu:///dev/ttyUSB0", "127.0.0.1", ""},
		{"tcp+tls://127.0.0.1:802", "", ""},
	} {
		s := simulation{listen: c.listen}
		got, err := s.address(&config.Link{Name: "skid", URL: c.url})
		if got != c.want || (err != nil) != (c.want == "") {
			t.Errorf("%s with --listen %q: %q, %v; want %q", c.url, c.listen, got, err, c.want)
		}
	}
}

func TestSimulateRefusesABadPlantFile(t *testing.T) {
	file := filepath.Join(t.TempDir(), "bad.yaml")
	if err := os.WriteFile(file, []byte("site: Larkfield\nloopz: []\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	if code := execute([]string{"simulate", "--config", file}, strings.NewReader(""), &out, &errs); code != exitBad {
		t.Errorf("exit %d, want %d", code, exitBad)
	}
	if !strings.Contains(errs.String(), "bad.yaml:2:1: loopz") {
		t.Errorf("says %q; want the place of the mistake", errs.String())
	}
}

func TestSimulateRefusesToAgeBackwards(t *testing.T) {
	for _, speed := range []string{"-1", "0", "NaN"} {
		var out, errs bytes.Buffer
		code := execute([]string{"simulate", "--config", "plant.yaml", "--speed", speed}, strings.NewReader(""), &out, &errs)
		if code != exitUsage || !strings.Contains(errs.String(), "--speed") {
			t.Errorf("--speed %s: exit %d, says %q; want exit %d", speed, code, errs.String(), exitUsage)
		}
	}
}
