package rules

import (
	"fmt"
	"go/ast"
)

// Rule is one house rule.
type Rule struct {
	Name   string
	Reason string // printed with each failure: why the rule exists and what to do instead
	check  func(*Tree) []Breach
}

// Breach is one place that breaks a rule. Line 0 means the whole file or folder.
type Breach struct {
	Path string
	Line int
	Text string
}

// String returns path:line: text.
func (b Breach) String() string {
	if b.Line == 0 {
		return fmt.Sprintf("%s: %s", b.Path, b.Text)
	}
	return fmt.Sprintf("%s:%d: %s", b.Path, b.Line, b.Text)
}

// Check returns the breaches in the order of the tree's files.
func (r Rule) Check(t *Tree) []Breach { return r.check(t) }

// Rules lists the house rules.
func Rules() []Rule {
	return []Rule{
		{"top-level", "the layout is fixed so that everyone finds things: cmd, daemon, devices, diagnostics, config, deploy and four files", topLevel},
		{"import-direction", "imports point one way, diagnostics <- devices <- config <- daemon <- cmd, so that each part can be understood and tested without those above it", importDirection},
		{"diagnostics-order", "inside diagnostics imports point one way too: quantity <- measure, rtd, copper, uncertainty <- wiring, contact <- finding <- diagnostics <- drift, presence <- follow; list a new package in order.go", diagnosticsOrder},
		{"siblings", "packages of daemon have one job each and meet in package daemon; an exception is listed in order.go with its reason", siblings},
		{"pure", "diagnostics computes only: the same code serves live polling, one-off reads and replay, so it may touch neither files nor network nor console", pure},
		{"clock", "diagnostics has no clock: time comes with the sample, or a replay would differ from the live run", clock},
		{"package-doc", "the package comment is the design page of the package: what it is, units, signs, what it cannot do", packageDoc},
		{"exported-doc", "an exported name is a promise: its comment begins with the name and gives units, ranges and errors", exportedDoc},
		{"package-name", "a package is named after its subject; these names gather whatever nobody placed", packageName},
		{"sleep", "a test that waits for a duration is slow and still fails on a loaded machine: wait for the event, or let the clock of testing/synctest jump", sleep},
		{"skip", "a test that is skipped shows nothing: install what it needs in deploy/test, or fail and say what is missing", skip},
		{"init", "an init function runs before anyone can see or order it: call a constructor from main", initFunction},
		{"globals", "mutable package state couples tests and daemons in one process: put it into a struct that has an owner", globals},
		{"goroutine", "whoever starts a goroutine stops it and waits: a file with a go statement also waits (Wait, or a receive from a done channel)", goroutine},
		{"console", "only commands print and exit: elsewhere output would break --json and an exit would lose queued data", console},
		{"read-only", "transmitters are only ever read: the Modbus library stays inside devices and its write calls are never used", readOnly},
		{"words", "code speaks of the product: paths of one machine, numbers of issues and notes to self mean nothing to the next reader", words},
		{"file-length", "a file over 600 lines holds more than one subject: split it", fileLength},
		{"documents", "README.md and DEVELOPERS.md are the way in: they name what exists, and the map of packages is whole", documents},
	}
}

// breach places a text at a node.
func (f *File) breach(n ast.Node, format string, a ...any) Breach {
	return Breach{f.Path, f.line(n.Pos()), fmt.Sprintf(format, a...)}
}
