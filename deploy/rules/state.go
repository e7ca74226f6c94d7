package rules

import (
	"go/ast"
	"go/token"
	"slices"
)

func initFunction(t *Tree) []Breach {
	var bs []Breach
	for _, f := range t.Go() {
		for _, d := range f.AST.Decls {
			if d, ok := d.(*ast.FuncDecl); ok && d.Recv == nil && d.Name.Name == "init" {
				bs = append(bs, f.breach(d, "declares an init function"))
			}
		}
	}
	return bs
}

// globals finds package variables that change: assigned, incremented or pointed
// to after their declaration, or of a type that exists to change. Tables that
// are only read are fine.
func globals(t *Tree) []Breach {
	var bs []Breach
	for _, p := range t.packages() {
		vars := map[string]*ast.ValueSpec{}
		for _, f := range p.Files {
			bs = append(bs, f.collectGlobals(vars)...)
		}
		for _, f := range p.Files {
			bs = append(bs, f.changes(vars)...)
		}
	}
	return bs
}

// collectGlobals adds the file's package variables to vars and returns those
// whose type exists to change.
func (f *File) collectGlobals(vars map[string]*ast.ValueSpec) []Breach {
	var bs []Breach
	imports := f.imports()
	for _, d := range f.AST.Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok || g.Tok != token.VAR {
			continue
		}
		for _, spec := range g.Specs {
			s := spec.(*ast.ValueSpec)
			for _, n := range s.Names {
				if n.Name != "_" {
					vars[n.Name] = s
				}
			}
			if sel, ok := s.Type.(*ast.SelectorExpr); ok {
				if x, ok := sel.X.(*ast.Ident); ok && slices.Contains([]string{"sync", "sync/atomic"}, imports[x.Name]) {
					bs = append(bs, f.breach(s, "%s of type %s.%s exists to change", s.Names[0].Name, x.Name, sel.Sel.Name))
				}
			}
		}
	}
	return bs
}

// changes finds statements that change a package variable. The parser resolves
// names within a file: a name that it resolved to something else is a local.
func (f *File) changes(vars map[string]*ast.ValueSpec) []Breach {
	var bs []Breach
	report := func(x ast.Expr, how string) {
		id := root(x)
		if id == nil {
			return
		}
		spec, ok := vars[id.Name]
		if ok && (id.Obj == nil || id.Obj.Decl == spec) {
			bs = append(bs, f.breach(x, "%s package variable %s", how, id.Name))
		}
	}
	ast.Inspect(f.AST, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.AssignStmt:
			if n.Tok != token.DEFINE {
				for _, x := range n.Lhs {
					report(x, "assigns")
				}
			}
		case *ast.IncDecStmt:
			report(n.X, "changes")
		case *ast.UnaryExpr:
			if _, direct := n.X.(*ast.Ident); direct && n.Op == token.AND {
				report(n.X, "takes the address of")
			}
		}
		return true
	})
	return bs
}

// root returns the variable that an assignable expression starts from.
func root(x ast.Expr) *ast.Ident {
	for {
		switch t := x.(type) {
		case *ast.Ident:
			return t
		case *ast.IndexExpr:
			x = t.X
		case *ast.SelectorExpr:
			x = t.X
		case *ast.ParenExpr:
			x = t.X
		case *ast.StarExpr:
			x = t.X
		default:
			return nil
		}
	}
}

func goroutine(t *Tree) []Breach {
	var bs []Breach
	for _, f := range t.Go() {
		if f.Test() {
			continue
		}
		var starts []*ast.GoStmt
		waits := false
		ast.Inspect(f.AST, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.GoStmt:
				starts = append(starts, n)
			case *ast.CallExpr:
				s, ok := n.Fun.(*ast.SelectorExpr)
				waits = waits || ok && s.Sel.Name == "Wait"
			case *ast.UnaryExpr:
				waits = waits || n.Op == token.ARROW && isDone(n.X)
			}
			return true
		})
		if !waits {
			for _, g := range starts {
				bs = append(bs, f.breach(g, "starts a goroutine that nothing here waits for"))
			}
		}
	}
	return bs
}

// isDone recognises a channel that tells of an end by its name. A context's
// Done() is a call and does not count: it tells the goroutine, not its owner.
func isDone(x ast.Expr) bool {
	ends := []string{"done", "stopped", "closed", "finished", "ended"}
	switch x := x.(type) {
	case *ast.Ident:
		return slices.Contains(ends, x.Name)
	case *ast.SelectorExpr:
		return slices.Contains(ends, x.Sel.Name)
	}
	return false
}
