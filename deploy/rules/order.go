package rules

import (
	"path"
	"slices"
	"strings"
)

// layers lists the top folders from the bottom up; a package imports its own
// layer and those before it. The tests of deploy stand above all.
func layers() []string {
	return []string{"diagnostics", "devices", "config", "daemon", "cmd", "deploy"}
}

// diagnosticsLevels lists the packages of diagnostics from the bottom up;
// packages of one level do not import each other.
func diagnosticsLevels() [][]string {
	return [][]string{
		{"diagnostics/quantity"},
		{"diagnostics/measure", "diagnostics/rtd", "diagnostics/copper", "diagnostics/uncertainty"},
		{"diagnostics/wiring"},
		{"diagnostics/finding"},
		{"diagnostics"},
		{"diagnostics/drift", "diagnostics/presence"},
	}
}

// siblingExceptions lists which package of daemon may import which other, with
// the reason.
func siblingExceptions() map[[2]string]string {
	return map[[2]string]string{}
}

func top(dir string) string {
	first, _, _ := strings.Cut(dir, "/")
	return first
}

func importDirection(t *Tree) []Breach {
	var bs []Breach
	for _, f := range t.Go() {
		own := slices.Index(layers(), top(f.Dir()))
		for _, s := range f.AST.Imports {
			dir, ok := ours(importPath(s))
			if ok && slices.Index(layers(), top(dir)) > own {
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

func siblings(t *Tree) []Breach {
	allowed := siblingExceptions()
	var bs []Breach
	for _, f := range t.Go() {
		own := job(f.Dir())
		for _, s := range f.AST.Imports {
			dir, ok := ours(importPath(s))
			other := job(dir)
			if !ok || own == "" || other == "" || own == other || allowed[[2]string{own, other}] != "" {
				continue
			}
			bs = append(bs, f.breach(s, "%s imports its sibling %s", own, other))
		}
	}
	return bs
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
