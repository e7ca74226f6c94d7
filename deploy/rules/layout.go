package rules

import (
	"fmt"
	"slices"
	"strings"
)

func topLevel(t *Tree) []Breach {
	fixed := []string{"cmd", "daemon", "devices", "diagnostics", "config", "deploy", "go.mod", "go.sum", "README.md", "DEVELOPERS.md", "LICENSE"}
	var bs []Breach
	for _, name := range t.Top {
		if !strings.HasPrefix(name, ".") && !slices.Contains(fixed, name) {
			bs = append(bs, Breach{name, 0, "is outside the fixed layout"})
		}
	}
	return bs
}

func packageName(t *Tree) []Breach {
	bad := []string{"util", "utils", "common", "types", "helper", "helpers", "manager", "misc", "shared", "lib"}
	var bs []Breach
	for _, f := range t.Go() {
		if name := strings.TrimSuffix(f.AST.Name.Name, "_test"); slices.Contains(bad, name) {
			bs = append(bs, f.breach(f.AST.Name, "package %s says nothing", name))
		}
	}
	return bs
}

const longestFile = 600 // lines; the orientation is 100 to 200

func fileLength(t *Tree) []Breach {
	var bs []Breach
	for _, f := range t.Go() {
		n := 0
		for range f.lines {
			n++
		}
		if n > longestFile {
			bs = append(bs, Breach{f.Path, 0, fmt.Sprintf("has %d lines", n)})
		}
	}
	return bs
}
