package rules

import (
	"go/ast"
	"path"
	"slices"
	"strings"
)

// layers lists the folders from the bottom up; a package imports its own layer
// and those before it. The tests of deploy stand above all; its example plant
// is data with nothing of ours beneath.
func layers() []string {
	return []string{"deploy/example", "diagnostics", "devices", "config", "daemon", "cmd", "deploy"}
}

// layerOf returns the first layer that dir lies in, −1 for none.
func layerOf(dir string) int {
	return slices.IndexFunc(layers(), func(layer string) bool { return within(dir, layer) })
}

// diagnosticsLevels lists the packages of diagnostics from the bottom up;
// packages of one level do not import each other.
func diagnosticsLevels() [][]string {
	return [][]string{
		{"diagnostics/quantity", "diagnostics/drift/stat"},
		{"diagnostics/measure", "diagnostics/rtd", "diagnostics/copper", "diagnostics/uncertainty"},
		{"diagnostics/wiring", "diagnostics/contact"},
		{"diagnostics/finding"},
		{"diagnostics"},
		{"diagnostics/drift", "diagnostics/presence"},
		{"diagnostics/follow"},
	}
}

// siblingException lets one package of daemon use a few small value types of
// another.
type siblingException struct {
	from, to string
	names    []string
	reason   string
}

func siblingExceptions() []siblingException {
	return []siblingException{
		{"daemon/forward", "daemon/records", []string{"Batch", "BadLine", "QueueSize"}, "the values that pass between the durable queue and whoever empties it"},
		{"daemon/notify", "daemon/records", []string{"Message"}, "the value that passes between the outbox and whoever sends it"},
		{"daemon/demo", "daemon/records", []string{"Baseline"}, "what the daemon is given when a technician proposes one"},
		{"daemon/publish", "daemon/forward", []string{"Stats"}, "counters that become metrics"},
		{"daemon/publish", "daemon/history", []string{"Stats"}, "counters that become metrics"},
		{"daemon/publish", "daemon/notify", []string{"Stats"}, "counters that become metrics"},
		{"daemon/publish", "daemon/records", []string{"Stats"}, "counters that become metrics"},
	}
}

func top(dir string) string {
	first, _, _ := strings.Cut(dir, "/")
	return first
}

func importDirection(t *Tree) []Breach {
	var bs []Breach
	for _, f := range t.Go() {
		own := layerOf(f.Dir())
		if f.Test() && f.Under("deploy") {
			own = len(layers())
		}
		for _, s := range f.AST.Imports {
			dir, ok := ours(importPath(s))
			if ok && layerOf(dir) > own {
				bs = append(bs, f.breach(s, "imports %s from above", dir))
			}
		}
	}
	return bs
}

func diagnosticsOrder(t *Tree) []Breach {
	var bs []Breach
	for _, p := range t.packages() {
		if !within(p.Dir, "diagnostics") {
			continue
		}
		own := levelOf(p.Dir)
		if own < 0 {
			bs = append(bs, Breach{p.Dir, 0, "has no place in the order"})
			continue
		}
		for _, f := range p.Files {
			bs = append(bs, f.importsNotBelow(own)...)
		}
	}
	return bs
}

// importsNotBelow finds imports of diagnostics packages at the file's own level
// or above. A test may import its own package from outside.
func (f *File) importsNotBelow(own int) []Breach {
	var bs []Breach
	for _, s := range f.AST.Imports {
		dir, ok := ours(importPath(s))
		if !ok || !within(dir, "diagnostics") || dir == f.Dir() || f.Test() {
			continue
		}
		if levelOf(dir) >= own {
			bs = append(bs, f.breach(s, "imports %s, which is not below it", dir))
		}
	}
	return bs
}

func levelOf(dir string) int {
	return slices.IndexFunc(diagnosticsLevels(), func(level []string) bool { return slices.Contains(level, dir) })
}

// siblings checks the code of daemon's packages; tests use the real thing and
// may import what they need.
func siblings(t *Tree) []Breach {
	var bs []Breach
	for _, f := range t.Go() {
		own := job(f.Dir())
		if own == "" || f.Test() {
			continue
		}
		for _, s := range f.AST.Imports {
			dir, ok := ours(importPath(s))
			other := job(dir)
			if !ok || other == "" || own == other {
				continue
			}
			names := allowedNames(own, dir)
			if names == nil {
				bs = append(bs, f.breach(s, "%s imports its sibling %s", own, other))
			}
			f.selectors(func(n *ast.SelectorExpr, path, name string) {
				if path == importPath(s) && names != nil && !slices.Contains(names, name) {
					bs = append(bs, f.breach(n, "%s uses %s of its sibling %s", own, name, other))
				}
			})
		}
	}
	return bs
}

// allowedNames returns what from may use of to; nil for nothing.
func allowedNames(from, to string) []string {
	for _, e := range siblingExceptions() {
		if e.from == from && e.to == to {
			return e.names
		}
	}
	return nil
}

// job returns the package of daemon that dir belongs to, such as daemon/alarm
// for daemon/alarm/rule; empty for daemon itself and everything else.
func job(dir string) string {
	rest, ok := strings.CutPrefix(dir, "daemon/")
	if !ok {
		return ""
	}
	return path.Join("daemon", top(rest))
}
