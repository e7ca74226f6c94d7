package config

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
	"testing/fstest"
)

// holds checks the promise about any input: a plant, or mistakes with places.
func holds(t *testing.T, p *Plant, err error) {
	if err == nil {
		if p == nil || len(p.Loops) == 0 {
			t.Fatal("neither loops nor mistakes")
		}
		return
	}
	var ms Mistakes
	if !errors.As(err, &ms) || len(ms) == 0 {
		t.Fatalf("error %v is no list of mistakes", err)
	}
	for _, m := range ms {
		if m.File == "" || m.Line < 1 || m.Col < 1 || m.Problem == "" {
			t.Fatalf("mistake without a place: %+v", m)
		}
	}
}

func FuzzPlant(f *testing.F) {
	paths, _ := filepath.Glob("testdata/mistakes/*.txtar")
	for _, path := range paths {
		a, _, _ := archive(f, path)
		f.Add(string(a.Files[0].Data))
	}
	example, err := os.ReadFile("testdata/example/plant.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(example))
	s := compileSchema(f, Schema())
	f.Fuzz(func(t *testing.T, text string) {
		files := fstest.MapFS{
			"plant.yaml": {Data: []byte(text)}, "index.csv": {Data: []byte("tag,wires\nTT-9,4\n")}, "token": {Data: []byte("x")},
		}
		p, err := LoadFS(files, "plant.yaml")
		holds(t, p, err)
		if err == nil && !accepts(s, []byte(text)) {
			v, yerr := asEditor([]byte(text))
			t.Fatalf("loads, but the schema refuses it: %v %v", yerr, s.Validate(v))
		}
	})
}

func FuzzIndex(f *testing.F) {
	f.Add("tag,wires\nTT-1,4\n")
	f.Add("\xEF\xBB\xBFtag;method\r\n\"TT;1\";four-wire\r\n")
	f.Add("tag,wires,limit_degC,cable_m,conductor,outdoor\nTT-1,2,0.5,3,22 AWG,no\n,,,,,\n\"")
	f.Fuzz(func(t *testing.T, text string) {
		files := fstest.MapFS{"index.csv": {Data: []byte(text)}}
		p, err := LoadIndex("index.csv", IndexOptions{Options: Options{FS: files}})
		holds(t, p, err)
	})
}

func FuzzProfile(f *testing.F) {
	paths, _ := filepath.Glob("../devices/profiles/*.yaml")
	for _, path := range paths {
		text, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(text))
	}
	f.Fuzz(func(t *testing.T, text string) {
		p, err := ParseProfile("profile.yaml", []byte(text))
		if err == nil {
			if verr := p.Validate(); verr != nil {
				t.Fatalf("accepted, but package devices refuses it: %v", verr)
			}
			return
		}
		var ms Mistakes
		if !errors.As(err, &ms) || len(ms) == 0 || ms[0].Line < 1 {
			t.Fatalf("error %v is no list of mistakes", err)
		}
	})
}
