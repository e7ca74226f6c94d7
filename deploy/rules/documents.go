package rules

import (
	"bytes"
	"fmt"
	"go/ast"
	"path"
	"regexp"
	"slices"
	"strings"
)

const (
	developersPage = "DEVELOPERS.md"
	readmePage     = "README.md"
)

// documents checks that the two pages name nothing that is gone, and that the
// map of packages is whole.
func documents(t *Tree) []Breach {
	paths := t.paths()
	named := regexp.MustCompile(`\b(?:` + strings.Join(layers(), "|") + `)/[\w.-]+(?:/[\w.-]+)*`)
	var bs []Breach
	for _, f := range t.Files {
		if f.Path != developersPage && f.Path != readmePage {
			continue
		}
		for n, line := range f.lines {
			for _, name := range named.FindAllString(string(line), -1) {
				if name = strings.TrimRight(name, "."); !paths[name] {
					bs = append(bs, Breach{f.Path, n, fmt.Sprintf("names %s, which does not exist", name)})
				}
			}
		}
		bs = append(bs, t.unknownFunctions(f)...)
		if f.Path == developersPage {
			bs = append(bs, t.unmapped(f)...)
		}
	}
	return bs
}

// unknownFunctions checks each "`Type.Method` in `file.go`" of a page.
func (t *Tree) unknownFunctions(page *File) []Breach {
	place := regexp.MustCompile("`([\\w.]+)` in `([\\w/.-]+\\.go)`")
	var bs []Breach
	for n, line := range page.lines {
		for _, m := range place.FindAllStringSubmatch(string(line), -1) {
			i := slices.IndexFunc(t.Files, func(f *File) bool { return f.Path == m[2] })
			if i >= 0 && t.Files[i].AST != nil && !slices.ContainsFunc(t.Files[i].AST.Decls, func(d ast.Decl) bool { return functionName(d) == m[1] }) {
				bs = append(bs, Breach{page.Path, n, fmt.Sprintf("%s has no function %s", m[2], m[1])})
			}
		}
	}
	return bs
}

// functionName returns Name or Type.Name; empty for other declarations.
func functionName(d ast.Decl) string {
	f, ok := d.(*ast.FuncDecl)
	if !ok {
		return ""
	}
	if f.Recv == nil {
		return f.Name.Name
	}
	x := f.Recv.List[0].Type
	if p, ok := x.(*ast.StarExpr); ok {
		x = p.X
	}
	id, ok := x.(*ast.Ident)
	if !ok {
		return f.Name.Name
	}
	return id.Name + "." + f.Name.Name
}

// unmapped returns the packages that the map leaves out; folders of tests alone
// may be.
func (t *Tree) unmapped(page *File) []Breach {
	var bs []Breach
	for _, p := range t.packages() {
		onlyTests := !slices.ContainsFunc(p.Files, func(f *File) bool { return !f.Test() })
		if !onlyTests && !bytes.Contains(page.Text, []byte("`"+p.Dir+"`")) {
			bs = append(bs, Breach{page.Path, 0, fmt.Sprintf("the map leaves out %s", p.Dir)})
		}
	}
	return bs
}

// paths returns every file and every folder of the tree.
func (t *Tree) paths() map[string]bool {
	m := map[string]bool{}
	for _, f := range t.Files {
		for p := f.Path; p != "."; p = path.Dir(p) {
			m[p] = true
		}
	}
	return m
}
