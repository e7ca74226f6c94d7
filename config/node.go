package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// reader turns the nodes of one YAML file into values and reports what it finds
// wrong on the way.
type reader struct {
	file string
	*report
}

func (r *reader) at(n *yaml.Node) Place { return Place{r.file, n.Line, n.Column} }

// document parses a file to its root node; nil when there is none to read.
func (r *reader) document(text []byte) *yaml.Node {
	if !r.readable(text) {
		return nil
	}
	dec := yaml.NewDecoder(bytes.NewReader(text))
	var doc yaml.Node
	err := dec.Decode(&doc)
	switch {
	case errors.Is(err, io.EOF):
		r.add(Place{r.file, 1, 1}, "", "see the example of the manual", "the file holds no settings")
		return nil
	case err != nil:
		r.syntax(text, err)
		return nil
	}
	var more yaml.Node
	if err := dec.Decode(&more); err == nil {
		r.add(r.at(&more), "", "keep one document a file", "a second document begins here")
		return nil
	} else if !errors.Is(err, io.EOF) {
		r.syntax(text, err)
		return nil
	}
	if len(doc.Content) != 1 {
		r.add(Place{r.file, 1, 1}, "", "see the example of the manual", "the file holds no settings")
		return nil
	}
	r.plain(doc.Content[0], "")
	return doc.Content[0]
}

// readable reports the first byte that is not text.
func (r *reader) readable(text []byte) bool {
	for i := 0; i < len(text); {
		c, size := utf8.DecodeRune(text[i:])
		if c == utf8.RuneError && size <= 1 {
			r.add(placeOf(r.file, text, i), "", "save the file as UTF-8", "byte 0x%02X is not UTF-8", text[i])
			return false
		}
		if c < ' ' && c != '\t' && c != '\n' && c != '\r' || c == 0x7F || c >= 0x80 && c < 0xA0 && c != 0x85 {
			r.add(placeOf(r.file, text, i), "", "remove it", "control character %U", c)
			return false
		}
		i += size
	}
	return true
}

func placeOf(file string, text []byte, offset int) Place {
	before := text[:offset]
	line := 1 + bytes.Count(before, []byte("\n"))
	start := bytes.LastIndexByte(before, '\n') + 1
	return Place{file, line, 1 + utf8.RuneCount(before[start:])}
}

var yamlLine = regexp.MustCompile(`^yaml: line (\d+): `)

// syntax reports an error of the YAML library, which knows its line at best.
func (r *reader) syntax(text []byte, err error) {
	msg, line := err.Error(), 1
	if m := yamlLine.FindStringSubmatch(msg); m != nil {
		line, _ = strconv.Atoi(m[1])
		msg = strings.TrimPrefix(msg, m[0])
	}
	lines := bytes.Split(text, []byte("\n"))
	line = min(max(line, 1), len(lines))
	body := lines[line-1]
	col := 1 + len(body) - len(bytes.TrimLeft(body, " \t"))
	r.add(Place{r.file, line, col}, "", "look at indentation, colons and quotes near here", "not YAML: %s", strings.TrimPrefix(msg, "yaml: "))
}

// plain refuses what makes YAML say other than what it shows: anchors, aliases,
// merge keys, tags, keys that are no words, and keys given twice.
func (r *reader) plain(n *yaml.Node, path string) {
	const hint = `repeat the values, or move them to "defaults"`
	if n.Anchor != "" {
		r.add(r.at(n), path, hint, "anchor &%s is not taken here", n.Anchor)
	}
	if n.Style&yaml.TaggedStyle != 0 {
		r.add(r.at(n), path, "remove it", "tag %s is not taken here", n.Tag)
	}
	switch n.Kind {
	case yaml.AliasNode:
		r.add(r.at(n), path, hint, "alias *%s is not taken here", n.Value)
	case yaml.SequenceNode:
		for i, c := range n.Content {
			r.plain(c, fmt.Sprintf("%s[%d]", path, i))
		}
	case yaml.MappingNode:
		r.plainMapping(n, path)
	}
}

func (r *reader) plainMapping(n *yaml.Node, path string) {
	seen := make(map[string]*yaml.Node, len(n.Content)/2)
	for i := 0; i+1 < len(n.Content); i += 2 {
		k := n.Content[i]
		switch first, twice := seen[k.Value]; {
		case k.Kind != yaml.ScalarNode:
			r.add(r.at(k), path, "write a word", "this key is not a word")
		case k.Tag == "!!merge":
			r.add(r.at(k), path, `repeat the values, or move them to "defaults"`, "merge key << is not taken here")
		case twice:
			r.add(r.at(k), join(path, k.Value), "keep one of them", "given twice, first in line %d", first.Line)
		default:
			seen[k.Value] = k
			r.plain(k, path) // a key can carry an anchor of its own
		}
		r.plain(n.Content[i+1], join(path, clip(k.Value)))
	}
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// scalarText returns the text of a scalar if its spelling suits the grammar.
func (r *reader) scalarText(n *yaml.Node, path string, want spelling) (string, bool) {
	switch {
	case n.Kind == yaml.AliasNode, n.Style&yaml.TaggedStyle != 0:
		return "", false // reported already
	case n.Kind != yaml.ScalarNode:
		r.add(r.at(n), path, "write a single value", "%s where a single value belongs", kindName(n))
		return "", false
	case n.Tag == "!!null" && n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) == 0:
		r.add(r.at(n), path, "give a value or leave the key out", "empty")
		return "", false
	}
	isQuoted := n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle|yaml.LiteralStyle|yaml.FoldedStyle) != 0
	switch {
	case want == bare && isQuoted:
		r.add(r.at(n), path, "write it without quotes", "%q is text where a number or a flag belongs", clip(n.Value))
		return "", false
	case want == quoted && !isQuoted && misread(n):
		r.add(r.at(n), path, fmt.Sprintf("write %q", n.Value), "%s without quotes is read as %s by YAML", clip(n.Value), misreading(n))
		return "", false
	}
	return n.Value, true
}

var oldFlag = regexp.MustCompile(`^(?i:y|n|yes|no|on|off)$`)

// misread reports whether a YAML library of any version reads this plain scalar
// as something else than text.
func misread(n *yaml.Node) bool {
	return n.Tag != "!!str" || oldFlag.MatchString(n.Value) || sexagesimal.MatchString(n.Value)
}

func misreading(n *yaml.Node) string {
	switch {
	case n.Tag == "!!bool", oldFlag.MatchString(n.Value):
		return "a flag"
	case n.Tag == "!!timestamp":
		return "a time"
	case n.Tag == "!!null":
		return "nothing"
	case sexagesimal.MatchString(n.Value):
		return "a base-60 number"
	}
	return "a number"
}

func kindName(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "keys"
	case yaml.SequenceNode:
		return "a list"
	}
	return "a value"
}
