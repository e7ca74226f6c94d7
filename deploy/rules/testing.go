package rules

import (
	"go/ast"
	"go/token"
	"slices"
)

// sleep finds time.Sleep, and a bare receive from time.After, which is the same
// outside of a bubble of testing/synctest.
func sleep(t *Tree) []Breach {
	var bs []Breach
	for _, f := range t.Go() {
		if !f.Test() {
			continue
		}
		f.selectors(func(n *ast.SelectorExpr, path, name string) {
			if path == "time" && name == "Sleep" {
				bs = append(bs, f.breach(n, "uses time.Sleep"))
			}
		})
		if slices.Contains(importPaths(f), "testing/synctest") {
			continue
		}
		bs = append(bs, f.waits()...)
	}
	return bs
}

// waits finds statements that only receive from time.After. As one case of a
// select it limits the wait for an event, which is fine.
func (f *File) waits() []Breach {
	var bs []Breach
	limits := map[ast.Stmt]bool{}
	ast.Inspect(f.AST, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CommClause:
			limits[n.Comm] = true
		case *ast.ExprStmt:
			if isReceiveFromAfter(n.X) && !limits[n] {
				bs = append(bs, f.breach(n, "waits for time.After"))
			}
		}
		return true
	})
	return bs
}

func importPaths(f *File) []string {
	var ps []string
	for _, s := range f.AST.Imports {
		ps = append(ps, importPath(s))
	}
	return ps
}

func isReceiveFromAfter(x ast.Expr) bool {
	u, ok := x.(*ast.UnaryExpr)
	if !ok || u.Op != token.ARROW {
		return false
	}
	c, ok := u.X.(*ast.CallExpr)
	if !ok {
		return false
	}
	s, ok := c.Fun.(*ast.SelectorExpr)
	return ok && s.Sel.Name == "After"
}

func skip(t *Tree) []Breach {
	var bs []Breach
	for _, f := range t.Go() {
		if !f.Test() {
			continue
		}
		ast.Inspect(f.AST, func(n ast.Node) bool {
			c, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			s, ok := c.Fun.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			if slices.Contains([]string{"Skip", "Skipf", "SkipNow", "Short"}, s.Sel.Name) && isTesting(s.X) {
				bs = append(bs, f.breach(n, "calls %s", s.Sel.Name))
			}
			return true
		})
	}
	return bs
}

// isTesting recognises the names under which tests know their testing.TB, and
// package testing itself.
func isTesting(x ast.Expr) bool {
	id, ok := x.(*ast.Ident)
	return ok && slices.Contains([]string{"t", "b", "tb", "f", "testing"}, id.Name)
}
