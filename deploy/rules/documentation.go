package rules

import (
	"fmt"
	"go/ast"
	"go/token"
	"slices"
	"strings"
)

func packageDoc(t *Tree) []Breach {
	var bs []Breach
	for _, p := range t.packages() {
		code := slices.DeleteFunc(slices.Clone(p.Files), (*File).Test)
		if len(code) == 0 {
			continue // a folder of tests alone has no page in the documentation
		}
		if !slices.ContainsFunc(code, func(f *File) bool { return isPackageDoc(f.AST) }) {
			want := "Package " + code[0].AST.Name.Name
			if code[0].AST.Name.Name == "main" {
				want = "Command"
			}
			bs = append(bs, Breach{p.Dir, 0, fmt.Sprintf("has no comment that begins %q", want)})
		}
	}
	return bs
}

func isPackageDoc(f *ast.File) bool {
	if f.Name.Name == "main" {
		return strings.HasPrefix(f.Doc.Text(), "Command ")
	}
	return strings.HasPrefix(f.Doc.Text(), "Package "+f.Name.Name+" ")
}

func exportedDoc(t *Tree) []Breach {
	var bs []Breach
	for _, f := range t.Go() {
		if f.Test() || f.AST.Name.Name == "main" {
			continue
		}
		for _, d := range f.AST.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				if d.Name.IsExported() && exportedReceiver(d) && !wellKnown(d) && !begins(d.Doc, d.Name.Name) {
					bs = append(bs, f.breach(d, "func %s has no comment that begins with its name", d.Name.Name))
				}
			case *ast.GenDecl:
				bs = append(bs, f.undocumented(d)...)
			}
		}
	}
	return bs
}

// undocumented checks a declaration of types, constants or variables. Constants
// and variables may be explained by the comment of their group or by one at the
// end of the line.
func (f *File) undocumented(d *ast.GenDecl) []Breach {
	var bs []Breach
	for _, spec := range d.Specs {
		switch s := spec.(type) {
		case *ast.TypeSpec:
			doc := s.Doc
			if !d.Lparen.IsValid() {
				doc = d.Doc
			}
			if s.Name.IsExported() && !begins(doc, s.Name.Name) {
				bs = append(bs, f.breach(s, "type %s has no comment that begins with its name", s.Name.Name))
			}
		case *ast.ValueSpec:
			explained := d.Doc != nil || s.Doc != nil || s.Comment != nil
			if i := slices.IndexFunc(s.Names, (*ast.Ident).IsExported); i >= 0 && !explained {
				bs = append(bs, f.breach(s, "%s %s has no comment", kindOf(d.Tok), s.Names[i].Name))
			}
		}
	}
	return bs
}

func kindOf(t token.Token) string {
	if t == token.CONST {
		return "constant"
	}
	return "variable"
}

// begins reports whether a comment begins with name, an article before it
// allowed.
func begins(doc *ast.CommentGroup, name string) bool {
	words := strings.Fields(doc.Text())
	if len(words) > 1 && slices.Contains([]string{"A", "An", "The"}, words[0]) {
		words = words[1:]
	}
	return len(words) > 0 && strings.TrimRight(words[0], ",.:;") == name
}

// wellKnown recognises the methods of error and sort.Interface, which say
// nothing that a comment could add to.
func wellKnown(d *ast.FuncDecl) bool {
	switch d.Name.Name {
	case "Error", "Unwrap", "Len":
		return d.Recv != nil && d.Type.Params.NumFields() == 0
	case "Less", "Swap":
		return d.Recv != nil && d.Type.Params.NumFields() == 2
	}
	return false
}

// exportedReceiver reports whether a function is no method, or one of an
// exported type.
func exportedReceiver(d *ast.FuncDecl) bool {
	if d.Recv == nil {
		return true
	}
	x := d.Recv.List[0].Type
	for {
		switch t := x.(type) {
		case *ast.StarExpr:
			x = t.X
		case *ast.IndexExpr:
			x = t.X
		case *ast.IndexListExpr:
			x = t.X
		case *ast.Ident:
			return t.IsExported()
		default:
			return true
		}
	}
}
