package rules

import (
	"bytes"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"strconv"
	"strings"
)

const module = "ohmdrift"

// Tree is a parsed source tree.
type Tree struct {
	Top   []string // names in the root folder
	Files []*File  // in path order
}

// File is one file of the tree; AST is nil unless it is a Go file outside of
// testdata.
type File struct {
	Path string // slash-separated, from the root
	Text []byte
	AST  *ast.File
	fset *token.FileSet
}

// Load reads the tree below the root of fsys and parses its Go files. Files
// that .gitignore names, and the folder .git, are left out.
func Load(fsys fs.FS) (*Tree, error) {
	ignored, err := ignorePatterns(fsys)
	if err != nil {
		return nil, err
	}
	t := &Tree{}
	err = fs.WalkDir(fsys, ".", func(p string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case p == ".":
			return nil
		case p == ".git" || ignores(ignored, p):
			if d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if !strings.Contains(p, "/") {
			t.Top = append(t.Top, p)
		}
		if !d.Type().IsRegular() {
			return nil
		}
		f, err := loadFile(fsys, p)
		if err == nil {
			t.Files = append(t.Files, f)
		}
		return err
	})
	return t, err
}

func loadFile(fsys fs.FS, p string) (*File, error) {
	text, err := fs.ReadFile(fsys, p)
	if err != nil {
		return nil, err
	}
	f := &File{Path: p, Text: text, fset: token.NewFileSet()}
	if path.Ext(p) == ".go" && !strings.Contains("/"+p, "/testdata/") {
		f.AST, err = parser.ParseFile(f.fset, p, text, parser.ParseComments)
		if err != nil {
			return nil, fmt.Errorf("house rules need files that parse: %w", err)
		}
	}
	return f, nil
}

// ignorePatterns returns the lines of .gitignore, of which only plain names,
// *.ext and anchored paths are understood.
func ignorePatterns(fsys fs.FS) ([]string, error) {
	text, err := fs.ReadFile(fsys, ".gitignore")
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	return strings.Fields(string(text)), err
}

func ignores(patterns []string, p string) bool {
	for _, pat := range patterns {
		name := path.Base(p)
		if strings.HasPrefix(pat, "/") {
			name = "/" + p
		}
		if ok, _ := path.Match(strings.TrimSuffix(pat, "/"), name); ok {
			return true
		}
	}
	return false
}

// Go returns the parsed Go files.
func (t *Tree) Go() []*File {
	var g []*File
	for _, f := range t.Files {
		if f.AST != nil {
			g = append(g, f)
		}
	}
	return g
}

// packages groups the Go files by folder, in the order of first sight.
func (t *Tree) packages() []*Package {
	var ps []*Package
	byDir := map[string]*Package{}
	for _, f := range t.Go() {
		p := byDir[f.Dir()]
		if p == nil {
			p = &Package{Dir: f.Dir()}
			byDir[p.Dir] = p
			ps = append(ps, p)
		}
		p.Files = append(p.Files, f)
	}
	return ps
}

// Package is the Go files of one folder.
type Package struct {
	Dir   string
	Files []*File
}

// Dir returns the folder of the file.
func (f *File) Dir() string { return path.Dir(f.Path) }

// Test reports whether the file is a test file.
func (f *File) Test() bool { return strings.HasSuffix(f.Path, "_test.go") }

// Under reports whether the file lies in dir or below.
func (f *File) Under(dir string) bool { return within(f.Dir(), dir) }

func within(p, dir string) bool { return p == dir || strings.HasPrefix(p, dir+"/") }

func (f *File) line(p token.Pos) int { return f.fset.Position(p).Line }

// lines calls yield with each line and its number until yield returns false.
func (f *File) lines(yield func(int, []byte) bool) {
	n := 0
	for line := range bytes.Lines(f.Text) {
		if n++; !yield(n, line) {
			return
		}
	}
}

// imports maps the name by which the file calls an import to its path.
func (f *File) imports() map[string]string {
	m := map[string]string{}
	for _, s := range f.AST.Imports {
		p := importPath(s)
		name := path.Base(p)
		if s.Name != nil {
			name = s.Name.Name
		}
		m[name] = p
	}
	return m
}

func importPath(s *ast.ImportSpec) string {
	p, err := strconv.Unquote(s.Path.Value)
	if err != nil { // the parser has accepted it, so this is a string literal
		return s.Path.Value
	}
	return p
}

// ours returns the folder of an import of this module.
func ours(importPath string) (string, bool) {
	return strings.CutPrefix(importPath, module+"/")
}

// selectors finds the uses of names of imported packages, such as time.Now.
func (f *File) selectors(yield func(n *ast.SelectorExpr, path, name string)) {
	imports := f.imports()
	ast.Inspect(f.AST, func(n ast.Node) bool {
		if s, ok := n.(*ast.SelectorExpr); ok {
			if x, ok := s.X.(*ast.Ident); ok && x.Obj == nil && imports[x.Name] != "" {
				yield(s, imports[x.Name], s.Sel.Name)
			}
		}
		return true
	})
}
