package rules

import (
	"go/ast"
	"slices"
	"strings"
)

func pure(t *Tree) []Breach {
	outside := []string{"os", "net", "syscall", "log", "database", "golang.org/x/sys"}
	var bs []Breach
	for _, f := range t.Go() {
		if !f.Under("diagnostics") || f.Test() {
			continue
		}
		for _, s := range f.AST.Imports {
			p := importPath(s)
			if slices.ContainsFunc(outside, func(o string) bool { return within(p, o) }) {
				bs = append(bs, f.breach(s, "imports %s", p))
			}
		}
	}
	return bs
}

func clock(t *Tree) []Breach {
	tell := []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTicker", "NewTimer"}
	var bs []Breach
	for _, f := range t.Go() {
		if !f.Under("diagnostics") {
			continue
		}
		f.selectors(func(n *ast.SelectorExpr, path, name string) {
			if path == "time" && slices.Contains(tell, name) {
				bs = append(bs, f.breach(n, "uses time.%s", name))
			}
		})
	}
	return bs
}

func console(t *Tree) []Breach {
	var bs []Breach
	for _, f := range t.Go() {
		if f.Test() || f.Under("cmd") {
			continue
		}
		f.selectors(func(n *ast.SelectorExpr, path, name string) {
			switch {
			case path == "fmt" && strings.HasPrefix(name, "Print"),
				path == "os" && slices.Contains([]string{"Stdout", "Stderr", "Exit"}, name),
				path == "log" && (strings.HasPrefix(name, "Print") || strings.HasPrefix(name, "Fatal")):
				bs = append(bs, f.breach(n, "uses %s.%s", path, name))
			}
		})
	}
	return bs
}

const modbusLibrary = "github.com/simonvetter/modbus"

func readOnly(t *Tree) []Breach {
	var bs []Breach
	for _, f := range t.Go() {
		uses := false
		for _, s := range f.AST.Imports {
			if importPath(s) != modbusLibrary {
				continue
			}
			uses = true
			if !f.Under("devices") && !f.Test() {
				bs = append(bs, f.breach(s, "imports the Modbus library outside of devices"))
			}
		}
		if uses && !f.Test() {
			bs = append(bs, f.modbusWrites()...)
		}
	}
	return bs
}

// modbusWrites finds the client's write methods by their names: the library
// calls all of them Write and a kind of value.
func (f *File) modbusWrites() []Breach {
	kinds := []string{"Coil", "Register", "Uint", "Float", "Bytes", "RawBytes"}
	var bs []Breach
	ast.Inspect(f.AST, func(n ast.Node) bool {
		s, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		kind, ok := strings.CutPrefix(s.Sel.Name, "Write")
		if ok && slices.ContainsFunc(kinds, func(k string) bool { return strings.HasPrefix(kind, k) }) {
			bs = append(bs, f.breach(s, "calls %s", s.Sel.Name))
		}
		return true
	})
	return bs
}
