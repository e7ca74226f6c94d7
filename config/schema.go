package config

import (
	"bytes"
	_ "embed"
	"encoding/json"
)

//go:embed schema/plant.schema.json
var plantSchema []byte

//go:embed schema/profile.schema.json
var profileSchema []byte

// Schema returns the JSON Schema of a plant file, for editors. It says what can
// be said of one value alone; what concerns several (tags given twice, the load
// of a bus) only Load can tell.
func Schema() []byte { return bytes.Clone(plantSchema) }

// ProfileSchema returns the JSON Schema of a profile file.
func ProfileSchema() []byte { return bytes.Clone(profileSchema) }

// plantSchemaOf builds the schema from the same keys that Load reads.
func plantSchemaOf() ([]byte, error) {
	return document("ohmdrift plant", mappingSchema(plantKeys()))
}

func profileSchemaOf() ([]byte, error) {
	return document("ohmdrift profile", mappingSchema(profileKeys()))
}

func document(title string, s schema) ([]byte, error) {
	s["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	s["title"] = title
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(s); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
