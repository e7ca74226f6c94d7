package rules

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/txtar"
)

// TestHouseRules checks this repository.
func TestHouseRules(t *testing.T) {
	tree, err := Load(os.DirFS("../.."))
	if err != nil {
		t.Fatal(err)
	}
	if n := len(tree.Go()); n < 20 {
		t.Fatalf("found %d Go files; is ../.. the root of the repository?", n)
	}
	for _, r := range Rules() {
		t.Run(r.Name, func(t *testing.T) {
			for _, b := range r.Check(tree) {
				t.Error(b)
			}
			if t.Failed() {
				t.Logf("why: %s", r.Reason)
			}
		})
	}
}

// TestEachRuleCanFail runs each rule on testdata/NAME.txtar. The comment of the
// archive lists the breaches that the rule must find, one a line; the archive
// also holds code that must pass.
func TestEachRuleCanFail(t *testing.T) {
	var names []string
	for _, r := range Rules() {
		names = append(names, r.Name)
		t.Run(r.Name, func(t *testing.T) {
			a, err := txtar.ParseFile(filepath.Join("testdata", r.Name+".txtar"))
			if err != nil {
				t.Fatal("a rule needs an archive that breaks it: ", err)
			}
			want := strings.Split(strings.TrimSpace(string(a.Comment)), "\n")
			if want[0] == "" {
				t.Fatal("the archive lists no breach")
			}
			var got []string
			for _, b := range r.Check(loadArchive(t, a)) {
				got = append(got, b.String())
			}
			if d := cmp.Diff(want, got); d != "" {
				t.Errorf("breaches, -want +got:\n%s", d)
			}
		})
	}
	archives, err := filepath.Glob("testdata/*.txtar")
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range archives {
		if name := strings.TrimSuffix(filepath.Base(a), ".txtar"); !slices.Contains(names, name) {
			t.Errorf("%s belongs to no rule", a)
		}
	}
}

// loadArchive loads the files of an archive. The line "@599 lines" stands for as
// many, so that a long file need not be stored.
func loadArchive(t *testing.T, a *txtar.Archive) *Tree {
	t.Helper()
	fsys := fstest.MapFS{}
	for _, f := range a.Files {
		text := strings.Replace(string(f.Data), "@599 lines\n", strings.Repeat("// line\n", 599), 1)
		fsys[f.Name] = &fstest.MapFile{Data: []byte(text)}
	}
	tree, err := Load(fsys)
	if err != nil {
		t.Fatal(err)
	}
	return tree
}

func TestLoadLeavesOutIgnoredFiles(t *testing.T) {
	tree, err := Load(fstest.MapFS{
		".gitignore":                 {Data: []byte("/data/\nnode_modules/\n*.prof\n")},
		".git/config":                {},
		"data/x.go":                  {Data: []byte("not Go")},
		"deploy/node_modules/y.go":   {Data: []byte("not Go")},
		"cpu.prof":                   {},
		"devices/data/kept.go":       {Data: []byte("package data")},
		"devices/testdata/broken.go": {Data: []byte("not Go")},
	})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, f := range tree.Files {
		got = append(got, f.Path)
	}
	want := []string{".gitignore", "devices/data/kept.go", "devices/testdata/broken.go"}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("files, -want +got:\n%s", d)
	}
}

// TestVocabulary: each pattern finds its word. They are put together here, so
// that this file does not break the rule itself.
func TestVocabulary(t *testing.T) {
	texts := []string{
		"in /wo" + "rk/here", "the .lib" + "rary folder", "see Iss" + "ue 12", "// XX" + "X later", "in the tran" + "script", "from proxy.gol" + "ang.org",
	}
	if n := len(vocabulary()); n != len(texts) {
		t.Fatalf("%d patterns, %d texts: add one for the new pattern", n, len(texts))
	}
	for _, text := range texts {
		tree, err := Load(fstest.MapFS{"page.md": {Data: []byte("sound\n" + text + "\n")}})
		if err != nil {
			t.Fatal(err)
		}
		if bs := words(tree); len(bs) != 1 || bs[0].Line != 2 {
			t.Errorf("%q: found %v, want one breach on line 2", text, bs)
		}
	}
}
