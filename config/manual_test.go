package config

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
)

// TestManualIsTrue holds KEYS.md against the keys and columns that are read.
func TestManualIsTrue(t *testing.T) {
	want := manual()
	if *update {
		if err := os.WriteFile("KEYS.md", []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile("KEYS.md")
	if err != nil || string(got) != want {
		t.Errorf("KEYS.md is not what the keys say (err %v); run go test ./config -update", err)
	}
}

func manual() string {
	var b strings.Builder
	b.WriteString("# Keys of a plant file\n\n" +
		"Written by `go test ./config -update` from the definitions that the loader reads, as the\n" +
		"JSON Schema is (`ohmdrift check --schema`). Values carry their unit. Keys in **bold** must be there.\n")
	keyTable(&b, "", mappingSchema(plantKeys()))
	b.WriteString("\n# Columns of the instrument index\n\n" +
		"CSV, UTF-8 with or without a byte-order mark, LF or CRLF, separated by comma, semicolon or tab. Only `tag` must\n" +
		"be there; columns of other names are mapped under `columns:`, to `ignore` where they are not wanted.\n\n| column | what it is | values |\n|---|---|---|\n")
	for _, p := range properties() {
		fmt.Fprintf(&b, "| `%s` | %s | %s |\n", p.column.name, p.column.doc, valuesOf(p.key.schema, p.key.name == strings.ReplaceAll(p.column.name, "_", "-")))
	}
	b.WriteString("\n# Columns of the terminals file\n\n" + codeList(terminalColumns()) + "; `order` counts from the element on.\n")
	b.WriteString("\n# Keys of a profile file\n\n" +
		"Addresses are numbers as the device's documents count them, from `address-base`, relative to the loop's `base`.\n")
	keyTable(&b, "", mappingSchema(profileKeys()))
	return b.String()
}

func codeList(names []string) string { return "`" + strings.Join(names, "`, `") + "`" }

// keyTable lists the keys of a mapping, then those of the mappings below it.
func keyTable(b *strings.Builder, path string, s schema) {
	properties := s["properties"].(schema)
	required, _ := s["required"].([]string)
	if path != "" {
		fmt.Fprintf(b, "\n## %s\n", path)
	}
	b.WriteString("\n| key | what it is | values |\n|---|---|---|\n")
	names := make([]string, 0, len(properties))
	for n := range properties {
		names = append(names, n)
	}
	slices.Sort(names)
	for _, n := range names {
		p := properties[n].(schema)
		shown := "`" + n + "`"
		if slices.Contains(required, n) {
			shown = "**" + shown + "**"
		}
		fmt.Fprintf(b, "| %s | %s | %s |\n", shown, p["description"], valuesOf(p, true))
	}
	for _, n := range names {
		p := properties[n].(schema)
		below := strings.TrimPrefix(path+"."+n, ".")
		if items, ok := p["items"].(schema); ok {
			p, below = items, below+"[]"
		}
		if _, ok := p["properties"]; ok && n != "defaults" { // the keys of a loop again
			keyTable(b, below, p)
		}
	}
}

// valuesOf says in a few words what a schema accepts; unit tells whether the
// value carries one.
func valuesOf(s schema, unit bool) string {
	if names, ok := s["enum"].([]string); ok {
		return codeList(names)
	}
	if examples, ok := s["examples"]; ok && unit {
		return "such as " + strings.ReplaceAll(strings.Trim(fmt.Sprintf("%q", examples), "[]"), `" "`, `", "`)
	}
	switch s["type"] {
	case "integer", "number":
		return fmt.Sprintf("%v to %v", s["minimum"], s["maximum"])
	case "boolean":
		return "`true`, `false`"
	case "array":
		return "list"
	case "object":
		if _, ok := s["properties"]; !ok {
			return "your name: name here"
		}
		return "keys below"
	}
	switch {
	case s["oneOf"] != nil:
		return "such as `0x8000`"
	case !unit:
		return "number, in the unit of the column"
	}
	return "text"
}
