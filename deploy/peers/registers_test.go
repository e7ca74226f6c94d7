package peers

import (
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/simonvetter/modbus"
)

// run is one line of registers.txt.
type run struct {
	unit  uint8
	table int // 3 or 4
	addr  uint16
	words []uint16
}

func readRegistersFile(t *testing.T) []run {
	t.Helper()
	text, err := os.ReadFile(registersFile)
	if err != nil {
		t.Fatal(err)
	}
	var runs []run
	for line := range strings.Lines(string(text)) {
		line, _, _ = strings.Cut(line, "#")
		f := strings.Fields(line)
		if len(f) == 0 {
			continue
		}
		r := run{unit: uint8(number(t, f[0], 10)), table: int(number(t, f[1], 10)), addr: uint16(number(t, f[2], 10))}
		for _, w := range f[3:] {
			r.words = append(r.words, uint16(number(t, w, 16)))
		}
		runs = append(runs, r)
	}
	return runs
}

func number(t *testing.T, s string, base int) uint64 {
	t.Helper()
	n, err := strconv.ParseUint(s, base, 16)
	if err != nil {
		t.Fatalf("%s: %v", registersFile, err)
	}
	return n
}

// TestPeersServeTheirRegisters makes sure that a later failure is ours and not
// the server's.
func TestPeersServeTheirRegisters(t *testing.T) {
	for _, p := range peers() {
		t.Run(p.name, func(t *testing.T) {
			c, err := modbus.NewClient(&modbus.ClientConfiguration{
				URL: p.start(t), Timeout: 5 * time.Second,
				Speed: uint(number(t, baud, 10)), Parity: modbus.PARITY_NONE, StopBits: 1,
			})
			if err != nil {
				t.Fatal(err)
			}
			if err := c.Open(); err != nil {
				t.Fatal(err)
			}
			defer c.Close()
			for _, r := range readRegistersFile(t) {
				if err := c.SetUnitId(r.unit); err != nil {
					t.Fatal(err)
				}
				kind := modbus.HOLDING_REGISTER
				if r.table == 4 {
					kind = modbus.INPUT_REGISTER
				}
				got, err := c.ReadRegisters(r.addr, uint16(len(r.words)), kind)
				if err != nil {
					t.Errorf("unit %d table %d address %d: %v", r.unit, r.table, r.addr, err)
				} else if d := cmp.Diff(r.words, got); d != "" {
					t.Errorf("unit %d: words, -want +got:\n%s", r.unit, d)
				}
			}
		})
	}
}
