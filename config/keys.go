package config

import (
	"fmt"
	"maps"
	"slices"

	"gopkg.in/yaml.v3"
)

// given is a value that was written, with its place; the zero value was not.
type given[V any] struct {
	value V
	at    Place
	path  string
	ok    bool
	bad   bool // written, but wrong and reported: not to be missed again
}

// absent reports whether nothing was written, right or wrong.
func (g given[V]) absent() bool { return !g.ok && !g.bad }

// or returns the value, or a default where none was written.
func (g given[V]) or(other V) V {
	if g.ok {
		return g.value
	}
	return other
}

// inherit takes over a default.
func (g *given[V]) inherit(d given[V]) {
	if g.absent() {
		*g = d
	}
}

// node reads one YAML node of any kind, and knows its schema.
type node[V any] struct {
	schema schema
	read   func(r *reader, n *yaml.Node, path string) (V, bool)
}

// key is one key of a mapping that fills a T.
type key[T any] struct {
	name, doc string
	example   string // of a key that must be there; empty = may be left out
	alias     string // what the same thing is called elsewhere
	schema    schema
	read      func(r *reader, n *yaml.Node, path string, dst *T)
	spoil     func(dst *T) // notes that the key was meant but not written rightly
}

// of defines a key by its grammar and by where the value goes.
func of[T, V any](name, doc string, v node[V], to func(*T) *given[V]) key[T] {
	read := func(r *reader, n *yaml.Node, path string, dst *T) {
		x, ok := v.read(r, n, path)
		*to(dst) = given[V]{value: x, at: r.at(n), path: path, ok: ok, bad: !ok}
	}
	return key[T]{name: name, doc: doc, schema: v.schema, read: read, spoil: func(dst *T) { to(dst).bad = true }}
}

// must marks a key that may not be left out; the example shows how to write it.
func (k key[T]) must(example string) key[T] {
	k.example = example
	return k
}

// node lifts a scalar grammar to a YAML node.
func (g grammar[V]) node() node[V] {
	return node[V]{g.schema, func(r *reader, n *yaml.Node, path string) (v V, ok bool) {
		s, ok := r.scalarText(n, path, g.spelling)
		if !ok {
			return v, false
		}
		v, f := g.parse(s)
		if f != nil {
			r.fault(r.at(n), path, f)
			return v, false
		}
		return v, true
	}}
}

// mapping is an object with the given keys and no others.
func mapping[T any](keys ...key[T]) node[T] {
	return node[T]{mappingSchema(keys), func(r *reader, n *yaml.Node, path string) (t T, ok bool) {
		if n.Kind != yaml.MappingNode {
			if n.Kind != yaml.AliasNode {
				r.add(r.at(n), path, "write "+orList(keyNames(keys)), "%s where keys belong", oneValue(n))
			}
			return t, false
		}
		readKeys(r, n, path, keys, &t)
		return t, true
	}}
}

func oneValue(n *yaml.Node) string {
	if n.Kind == yaml.ScalarNode {
		return "a single value"
	}
	return kindName(n)
}

func readKeys[T any](r *reader, n *yaml.Node, path string, keys []key[T], dst *T) {
	seen, written := make(map[string]bool, len(keys)), make(map[string]bool, len(keys))
	for i := 0; i+1 < len(n.Content); i += 2 {
		name := n.Content[i]
		k := slices.IndexFunc(keys, func(k key[T]) bool { return k.name == name.Value })
		switch {
		case name.Kind != yaml.ScalarNode || name.Tag == "!!merge": // reported already
		case k >= 0 && written[name.Value]: // reported already
		case k < 0:
			unknownKey(r, name, path, keys, seen, dst)
		default:
			keys[k].read(r, n.Content[i+1], join(path, name.Value), dst)
			written[name.Value], seen[name.Value] = true, true
		}
	}
	for _, k := range keys {
		if k.example != "" && !seen[k.name] {
			r.add(r.at(n), join(path, k.name), fmt.Sprintf("write %q", k.name+": "+k.example), "missing")
		}
	}
}

// unknownKey reports a key that does not exist, and remembers which one was
// meant, so that it is not reported as missing too.
func unknownKey[T any](r *reader, name *yaml.Node, path string, keys []key[T], seen map[string]bool, dst *T) {
	hint := meant(name.Value, keyNames(keys))
	meantKey := nearest(name.Value, keyNames(keys))
	for _, k := range keys {
		if k.alias == name.Value && k.alias != k.name {
			meantKey, hint = k.name, "write "+k.name+" here, with the unit in the value"
		}
	}
	r.add(r.at(name), join(path, clip(name.Value)), hint, "unknown key")
	for _, k := range keys {
		if k.name == meantKey && !seen[k.name] {
			k.spoil(dst)
			seen[k.name] = true
		}
	}
}

func keyNames[T any](keys []key[T]) []string {
	names := make([]string, len(keys))
	for i, k := range keys {
		names[i] = k.name
	}
	return names
}

func mappingSchema[T any](keys []key[T]) schema {
	properties, required := schema{}, []string{}
	for _, k := range keys {
		p := maps.Clone(k.schema)
		p["description"] = k.doc
		properties[k.name] = p
		if k.example != "" {
			required = append(required, k.name)
		}
	}
	s := schema{"type": "object", "additionalProperties": false, "properties": properties}
	if len(required) > 0 {
		s["required"] = required
	}
	return s
}

// listOf is a list of values of one kind.
func listOf[V any](v node[V]) node[[]given[V]] {
	s := schema{"type": "array", "items": v.schema}
	return node[[]given[V]]{s, func(r *reader, n *yaml.Node, path string) ([]given[V], bool) {
		if n.Kind != yaml.SequenceNode {
			if n.Kind != yaml.AliasNode {
				r.add(r.at(n), path, "write each entry after a hyphen", "%s where a list belongs", oneValue(n))
			}
			return nil, false
		}
		list := make([]given[V], 0, len(n.Content))
		for i, c := range n.Content {
			at := fmt.Sprintf("%s[%d]", path, i)
			if x, ok := v.read(r, c, at); ok {
				list = append(list, given[V]{value: x, at: r.at(c), path: at, ok: true})
			}
		}
		return list, true
	}}
}

// wordMap is a mapping from names of the user's own to text.
func wordMap() node[map[string]given[string]] {
	word := text()
	s := schema{"type": "object", "additionalProperties": word.schema}
	return node[map[string]given[string]]{s, func(r *reader, n *yaml.Node, path string) (map[string]given[string], bool) {
		if n.Kind != yaml.MappingNode {
			if n.Kind != yaml.AliasNode {
				r.add(r.at(n), path, "write a column of yours and the name it has here, as in Tag No: tag", "%s where keys belong", oneValue(n))
			}
			return nil, false
		}
		m := make(map[string]given[string], len(n.Content)/2)
		for i := 0; i+1 < len(n.Content); i += 2 {
			k, v := n.Content[i], n.Content[i+1]
			at := join(path, clip(k.Value))
			if x, ok := word.node().read(r, v, at); ok && k.Kind == yaml.ScalarNode {
				m[k.Value] = given[string]{value: x, at: r.at(v), path: at, ok: true}
			}
		}
		return m, true
	}}
}
