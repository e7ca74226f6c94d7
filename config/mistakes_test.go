package config

import (
	"errors"
	"flag"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/txtar"
)

var update = flag.Bool("update", false, "rewrite the expected messages")

// archive returns the files of a txtar archive and the expected messages.
func archive(t testing.TB, path string) (*txtar.Archive, fs.FS, string) {
	a, err := txtar.ParseFile(path)
	if err != nil {
		t.Fatal(err)
	}
	files, want := fstest.MapFS{}, ""
	for _, f := range a.Files {
		if f.Name == "want" {
			want = string(f.Data)
			continue
		}
		files[f.Name] = &fstest.MapFile{Data: f.Data}
	}
	return a, files, want
}

func messages(t *testing.T, files fs.FS) string {
	_, err := LoadFS(files, "plant.yaml")
	var ms Mistakes
	if !errors.As(err, &ms) {
		t.Fatalf("error %v; want Mistakes", err)
	}
	for _, m := range ms {
		if m.Line < 1 || m.Col < 1 || m.File == "" {
			t.Errorf("%s: without a place", m.Error())
		}
	}
	return ms.Error() + "\n"
}

// TestMistakes loads one archive a mistake; its name says which. Every archive
// but the one with ten has one message.
func TestMistakes(t *testing.T) {
	paths, err := filepath.Glob("testdata/mistakes/*.txtar")
	if err != nil || len(paths) < 100 {
		t.Fatalf("%d archives, err %v; want at least 100", len(paths), err)
	}
	for _, path := range paths {
		name := strings.TrimSuffix(filepath.Base(path), ".txtar")
		t.Run(name, func(t *testing.T) {
			a, files, want := archive(t, path)
			got := messages(t, files)
			count := 1
			if name == "ten-mistakes" {
				count = 10
			}
			if n := strings.Count(got, "\n"); n != count {
				t.Errorf("%d messages, want %d:\n%s", n, count, got)
			}
			if *update {
				i := slices.IndexFunc(a.Files, func(f txtar.File) bool { return f.Name == "want" })
				a.Files[i].Data = []byte(got)
				if err := os.WriteFile(path, txtar.Format(a), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if d := cmp.Diff(want, got); d != "" {
				t.Errorf("messages (-want +got):\n%s", d)
			}
		})
	}
}
