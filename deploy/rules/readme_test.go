package rules

import (
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"ohmdrift/config"
)

// TestReadmeExampleLoads loads the plant file that README.md shows.
func TestReadmeExampleLoads(t *testing.T) {
	page, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	example := regexp.MustCompile("(?s)```yaml\n(.*?)```").FindSubmatch(page)
	if example == nil {
		t.Fatal("README.md shows no plant file between ```yaml and ```")
	}
	dir := t.TempDir()
	profile := "name: my-transmitter\ntable: input\naddress-base: 1\nfields:\n" +
		"  - {quantity: a1, address: 1, type: float32, unit: Ohm}\n" +
		"  - {quantity: b1, address: 3, type: float32, unit: Ohm}\n" +
		"  - {quantity: b2, address: 5, type: float32, unit: Ohm}\n" +
		"  - {quantity: sensor, address: 7, type: float32, unit: Ohm}\n"
	for name, text := range map[string]string{"plant.yaml": string(example[1]), "my-transmitter.yaml": profile} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	p, err := config.Load(filepath.Join(dir, "plant.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Loops) == 0 || len(p.Links) == 0 {
		t.Errorf("the example has %d loops and %d links", len(p.Loops), len(p.Links))
	}
}
