package rules

import (
	"go/ast"
	"go/token"
	"slices"
)

// sleep finds time.Sleep and a bare receive from time.After. In a bubble of
// testing/synctest both are fine: its clock jumps, nobody waits.
func sleep(t *Tree) []Breach {
	var bs []Breach
	for _, f := range t.Go() {
		if f.Test() {
			bs = append(bs, f.waits()...)
		}
	}
	return bs
}

func (f *File) waits() []Breach {
	var bs []Breach
	imports := f.imports()
	limits := map[ast.Stmt]bool{} // one case of a select: it limits the wait for an event
	ast.Inspect(f.AST, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			if s, ok := n.Fun.(*ast.SelectorExpr); ok {
				x, _ := s.X.(*ast.Ident)
				switch {
				case x == nil:
				case imports[x.Name] == "testing/synctest" && s.Sel.Name == "Test":
					return false
				case imports[x.Name] == "time" && s.Sel.Name == "Sleep":
					bs = append(bs, f.breach(n, "uses time.Sleep"))
				}
			}
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
