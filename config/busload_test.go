package config

import (
	"math"
	"strings"
	"testing"
	"testing/fstest"
	"time"
)

// TestRequestTime: 125 registers are 8 + 255 bytes of 11 bits on the wire.
func TestRequestTime(t *testing.T) {
	tests := []struct {
		baud   int
		parity string
		stop   int
		n      int
		wire   float64 // ms
		silent float64 // ms, 3.5 characters; 1.75 ms above 19200 baud
		source string
	}{
		{9600, "even", 1, 125, 301.354, 4.0104, "263·11/9600 s; MODBUS over Serial Line V1.02, 2.5.1.1 for the silence"},
		{19200, "even", 1, 125, 150.677, 2.0052, "263·11/19200 s"},
		{115200, "even", 1, 125, 25.113, 1.75, "263·11/115200 s; fixed silence above 19200 baud"},
		{1200, "none", 2, 2, 155.833, 32.083, "17·11/1200 s, 8N2"},
		{9600, "none", 1, 2, 17.708, 3.6458, "17·10/9600 s, 8N1"},
	}
	for _, c := range tests {
		k := Link{Baud: c.baud, Parity: c.parity, StopBits: c.stop, DataBits: 8, Turnaround: 20 * time.Millisecond, Pause: 5 * time.Millisecond}
		got := float64(k.Request(c.n)) / 1e6
		if want := c.wire + 2*c.silent + 25; math.Abs(got-want) > 0.002 {
			t.Errorf("%d baud, %d registers: %.3f ms, want %.3f (%s)", c.baud, c.n, got, want, c.source)
		}
	}
}

// TestIntervalThatFits: the number in the message is accepted when written.
func TestIntervalThatFits(t *testing.T) {
	plant := func(interval string) error {
		text := "site: Larkfield\nlinks:\n  - {name: a, url: \"rtu:///dev/ttyS0\", baud: 9600, sole-master: true}\nloops:\n"
		for _, u := range []string{"1", "2", "3", "4", "5", "6", "7", "8"} {
			text += "  - {tag: TT-" + u + ", wires: 4, link: a, unit: " + u + ", profile: leads-float, interval: " + interval + "}\n"
		}
		_, err := LoadFS(fstest.MapFS{"plant.yaml": {Data: []byte(text)}}, "plant.yaml")
		return err
	}
	err := plant("500 ms")
	if err == nil {
		t.Fatal("accepted")
	}
	_, rest, _ := strings.Cut(err.Error(), "an interval of ")
	fits, _, _ := strings.Cut(rest, " would fit")
	if err := plant(fits); err != nil {
		t.Errorf("%q, said to fit, is refused: %v", fits, err)
	}
	if plant("600 ms") == nil { // 8 requests of 70.4 ms are 563 ms, 94 % of 600 ms
		t.Error("600 ms accepted")
	}
}
