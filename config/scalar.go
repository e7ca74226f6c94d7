package config

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode"
)

// schema is a node of the JSON Schema.
type schema = map[string]any

// spelling says which YAML spellings a grammar accepts.
type spelling uint8

const (
	bare   spelling = iota // a number or a flag: no quotes
	quoted                 // text: quotes where YAML would read it as anything else
	either                 // text that its own grammar guards, such as "12 m"
)

// grammar reads the text of one scalar of a YAML file or one cell of a CSV
// file. The schema says the same to an editor.
type grammar[V any] struct {
	spelling spelling
	schema   schema
	parse    func(s string) (V, *fault)
}

// maxText bounds names and free text: they become tags of a database and rows
// on a screen.
const maxText = 120

// text is a non-empty line of printable characters.
func text() grammar[string] {
	return grammar[string]{quoted, schema{"type": "string", "minLength": 1, "maxLength": maxText}, parseText}
}

func parseText(s string) (string, *fault) {
	switch {
	case strings.TrimSpace(s) == "":
		return "", faultf("leave it out instead", "empty")
	case strings.TrimSpace(s) != s:
		return "", faultf("remove them", "%q has blanks at an end", clip(s))
	case len(s) > maxText:
		return "", faultf("shorten it", "%d bytes long, want at most %d", len(s), maxText)
	}
	for _, r := range s {
		if !unicode.IsPrint(r) {
			return "", faultf("remove it", "%q holds the unprintable character %U", clip(s), r)
		}
	}
	return s, nil
}

var plainWhole = regexp.MustCompile(`^-?(0|[1-9][0-9]*)$`)

// whole is an integer from low to high, written in plain decimal digits.
func whole(low, high int) grammar[int] {
	return grammar[int]{bare, schema{"type": "integer", "minimum": low, "maximum": high}, func(s string) (int, *fault) {
		if !plainWhole.MatchString(s) {
			return 0, notWhole(s)
		}
		v, err := strconv.Atoi(s)
		if err != nil || v < low || v > high {
			return 0, faultf(fmt.Sprintf("want %d to %d", low, high), "%s is out of range", clip(s))
		}
		return v, nil
	}}
}

var (
	leadingZero = regexp.MustCompile(`^[-+]?0[0-9]+$`)
	otherBase   = regexp.MustCompile(`(?i)^[-+]?0[xob][0-9a-f_]+$`)
	sexagesimal = regexp.MustCompile(`^[-+]?[0-9][0-9_]*(:[0-5]?[0-9])+(\.[0-9_]*)?$`)
	pointNumber = regexp.MustCompile(`^[-+]?[0-9]*\.?[0-9]*([eE][-+]?[0-9]+)?$`)
)

// notWhole explains why a text is not a whole number, by how YAML would have
// taken it.
func notWhole(s string) *fault {
	const hint = "write a whole number in plain digits"
	switch {
	case leadingZero.MatchString(s):
		return faultf("write "+strings.TrimLeft(s, "+-0")+" without the leading zero", "%s could be octal (%s)", s, octal(s))
	case otherBase.MatchString(s):
		return faultf(hint, "%s is not decimal", clip(s))
	case sexagesimal.MatchString(s):
		return faultf(hint, "%s could be a time or a base-60 number", clip(s))
	case strings.Contains(s, "_"):
		return faultf(hint, "%s has underscores", clip(s))
	case s != "" && s != "." && pointNumber.MatchString(s):
		return faultf(hint, "%s is not a whole number", clip(s))
	}
	return faultf(hint, "%q is not a number", clip(s))
}

func octal(s string) string {
	v, err := strconv.ParseInt(strings.TrimLeft(s, "+-"), 8, 64)
	if err != nil {
		return "or not a number at all"
	}
	return "that is " + strconv.FormatInt(v, 10)
}

var plainNumber = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][-+]?[0-9]+)?$`)

// number is a finite decimal number from low to high.
func number(low, high float64) grammar[float64] {
	return grammar[float64]{bare, schema{"type": "number", "minimum": low, "maximum": high}, func(s string) (float64, *fault) {
		v, f := parseNumber(s)
		if f == nil && (v < low || v > high) {
			f = faultf(fmt.Sprintf("want %g to %g", low, high), "%s is out of range", clip(s))
		}
		return v, f
	}}
}

func parseNumber(s string) (float64, *fault) {
	const hint = "write a decimal number such as 0.5"
	if plainNumber.MatchString(s) {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil || math.IsInf(v, 0) {
			return 0, faultf(hint, "%s is too large", clip(s))
		}
		return v, nil
	}
	switch bare := strings.TrimLeft(strings.ToLower(s), "+-."); {
	case bare == "inf" || bare == "nan" || bare == "infinity":
		return 0, faultf("leave it out where there is no value", "%s is not a number to compute with", s)
	case strings.Count(s, ",") == 1 && plainNumber.MatchString(strings.Replace(s, ",", ".", 1)):
		return 0, faultf("write "+strings.Replace(s, ",", ".", 1), "%q has a decimal comma", s)
	case strings.HasPrefix(s, "−"):
		return 0, faultf("write it with a hyphen-minus: -"+strings.TrimPrefix(s, "−"), "%q begins with a typographic minus", clip(s))
	case s != "" && pointNumber.MatchString(s) && strings.ContainsAny(s, "0123456789") && !leadingZero.MatchString(s):
		return 0, faultf(hint, "%s is not in plain form (a digit on both sides of the point, no plus sign, no leading zero)", clip(s))
	}
	f := notWhole(s)
	return 0, &fault{f.problem, hint}
}

// truth is true or false.
func truth() grammar[bool] {
	return grammar[bool]{bare, schema{"type": "boolean"}, func(s string) (bool, *fault) {
		switch s {
		case "true":
			return true, nil
		case "false":
			return false, nil
		}
		return false, faultf("write true or false", "%q is not a flag", clip(s))
	}}
}

// oneOf is one of the given names, each standing for its place in the list.
func oneOf[V ~uint8 | ~int](names ...string) grammar[V] {
	return grammar[V]{quoted, schema{"enum": names}, func(s string) (V, *fault) {
		for i, n := range names {
			if n == s {
				return V(i), nil
			}
		}
		return 0, faultf(meant(s, names), "%q is not known", clip(s))
	}}
}

// word is one of the given names.
func word(names ...string) grammar[string] {
	index := oneOf[int](names...)
	return grammar[string]{quoted, index.schema, func(s string) (string, *fault) {
		i, f := index.parse(s)
		if f != nil {
			return "", f
		}
		return names[i], nil
	}}
}

// by is a grammar from a parser of another package.
func by[V any](parse func(string) (V, error), sch schema) grammar[V] {
	return grammar[V]{either, sch, func(s string) (V, *fault) {
		v, err := parse(s)
		if err != nil {
			return v, faultOf(err)
		}
		return v, nil
	}}
}

// within refuses values outside low..high with the given words.
func within[V ~float64 | ~int64](g grammar[V], low, high V, want string) grammar[V] {
	inner := g.parse
	g.parse = func(s string) (V, *fault) {
		v, f := inner(s)
		if f == nil && (v < low || v > high) {
			f = faultf("want "+want, "%q is out of range", clip(s))
		}
		return v, f
	}
	return g
}

// clip keeps a message readable when the text is not.
func clip(s string) string {
	const most = 60
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most], "") + "…"
}
