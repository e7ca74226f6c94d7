package main

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"
)

// Mistakes on the command line are told in the words of a user, with the help of
// the command that was asked for.
func TestUsageMistakes(t *testing.T) {
	const larkfield = "../../deploy/example/larkfield.yaml"
	none := filepath.Join(t.TempDir(), "none.yaml")
	tests := []struct {
		args string
		code int
		want string
	}{
		{"run", exitUsage, "ohmdrift: missing --config\nrun ohmdrift run --help\n"},
		{"check", exitUsage, "ohmdrift: missing --config or --schema\nrun ohmdrift check --help\n"},
		{"demo --seed x", exitUsage, "ohmdrift: invalid argument \"x\" for \"--seed\" flag\nrun ohmdrift demo --help\n"},
		{"read --config " + larkfield + " --scan --link mcc9", exitUsage, `no link "mcc9" in the plant file; it has media, fermentation`},
		{"run --config " + none, exitCouldnt, "ohmdrift: read the plant file"},
		{"read --config " + none, exitCouldnt, "ohmdrift: read the plant file"},
		{"simulate --config " + none, exitCouldnt, "ohmdrift: read the plant file"},
		{"check --config " + none, exitCouldnt, "ohmdrift: read the plant file"},
	}
	for _, c := range tests {
		var out, errs bytes.Buffer
		code := execute(strings.Fields(c.args), strings.NewReader(""), &out, &errs)
		if code != c.code || !strings.Contains(errs.String(), c.want) {
			t.Errorf("%s: exit %d, %q; want %d, %q", c.args, code, errs.String(), c.code, c.want)
		}
	}
}
