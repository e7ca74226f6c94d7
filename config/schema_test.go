package config

import (
	"bytes"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"gopkg.in/yaml.v3"

	"ohmdrift/devices/profiles"
)

// TestSchemaIsGenerated holds the embedded schema against the keys that Load
// reads.
func TestSchemaIsGenerated(t *testing.T) {
	for file, build := range map[string]func() ([]byte, error){
		"schema/plant.schema.json": plantSchemaOf, "schema/profile.schema.json": profileSchemaOf,
	} {
		want, err := build()
		if err != nil {
			t.Fatal(err)
		}
		if *update {
			if err := os.WriteFile(file, want, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		got, err := os.ReadFile(file)
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s is not what the keys say (err %v); run go test ./config -update", file, err)
		}
	}
}

func compileSchema(t testing.TB, text []byte) *jsonschema.Schema {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// asEditor reads YAML as an editor does: by the library's own rules.
func asEditor(text []byte) (any, error) {
	var v any
	err := yaml.Unmarshal(text, &v)
	return v, err
}

// onlyLoad lists mistakes that a schema cannot see, with the reason.
var onlyLoad = map[string]string{
	"spell-leading-zero":        "YAML has made it 8 before the schema sees it",
	"spell-hex-as-whole":        "YAML has made it 16",
	"spell-octal":               "YAML has made it 15",
	"spell-underscore":          "YAML has made it 1000",
	"spell-plus":                "YAML has made it 1",
	"spell-exponent-as-whole":   "1e3 is the whole number 1000 to JSON Schema",
	"spell-point-without-digit": "YAML has made it a number",
	"spell-capital-true":        "YAML has made it true",
	"spell-word-as-text":        "text in YAML 1.2",
	"spell-anchor":              "YAML has resolved it",
	"spell-merge-key":           "YAML has resolved it",
	"spell-tag":                 "YAML has resolved it",
	"spell-two-documents":       "the library reads the first",
	"value-url-password":        "no pattern for it",
	"value-url-port":            "no pattern for it",
	"value-class":               "examples only, the parser accepts several spellings",
	"value-sensor":              "the curves have many names",
	"value-interval":            "a range across units",
}

// TestSchemaAgrees checks that the schema refuses every mistake that can be
// seen in one value, and nothing that Load accepts.
func TestSchemaAgrees(t *testing.T) {
	plant, profile := compileSchema(t, Schema()), compileSchema(t, ProfileSchema())
	paths, _ := filepath.Glob("testdata/mistakes/*.txtar")
	refused := 0
	for _, path := range paths {
		name := strings.TrimSuffix(filepath.Base(path), ".txtar")
		class, _, _ := strings.Cut(name, "-")
		_, files, _ := archive(t, path)
		text, err := fs.ReadFile(files, "plant.yaml")
		if err != nil {
			t.Fatal(err)
		}
		ok := accepts(plant, text)
		if hall, err := fs.ReadFile(files, "hall.yaml"); err == nil {
			ok = ok && accepts(profile, hall)
		}
		reason, only := onlyLoad[name]
		one := class == "spell" || class == "key" || class == "unit" || class == "value"
		switch {
		case one && !only && ok:
			t.Errorf("%s: the schema accepts it", name)
		case only && !ok:
			t.Errorf("%s: the schema refuses it, against the list (%s)", name, reason)
		}
		if !ok {
			refused++
		}
	}
	t.Logf("%d of %d mistakes are seen by the schema", refused, len(paths))
}

func TestSchemaAcceptsWhatLoads(t *testing.T) {
	plant, profile := compileSchema(t, Schema()), compileSchema(t, ProfileSchema())
	example, err := os.ReadFile("testdata/example/plant.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if v, err := asEditor(example); err != nil || plant.Validate(v) != nil {
		t.Errorf("example: %v %v", err, plant.Validate(v))
	}
	for _, f := range profiles.All() {
		if v, err := asEditor(f.Text); err != nil || profile.Validate(v) != nil {
			t.Errorf("%s: %v %v", f.Name, err, profile.Validate(v))
		}
	}
}

func accepts(s *jsonschema.Schema, text []byte) bool {
	v, err := asEditor(text)
	return err == nil && s.Validate(v) == nil
}
