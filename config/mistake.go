package config

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Mistake is one thing wrong in a file: where it stands, which key or column it
// concerns, what is wrong and what to write instead.
type Mistake struct {
	Place
	Path    string // loops[12].conductor, or the column's header in a CSV file; may be empty
	Problem string
	Hint    string // may be empty
}

// Error returns "file:line:col: path: problem; hint".
func (m Mistake) Error() string {
	var b strings.Builder
	b.WriteString(m.Place.String())
	if m.Path != "" {
		b.WriteString(": " + m.Path)
	}
	b.WriteString(": " + m.Problem)
	if m.Hint != "" {
		b.WriteString("; " + m.Hint)
	}
	return b.String()
}

// String returns file:line:col; the file alone where no line is known.
func (p Place) String() string {
	if p.Line == 0 {
		return p.File
	}
	return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Col)
}

// Mistakes is every mistake of a configuration, sorted by place. It is the
// error that Load returns when files could be read but not accepted.
type Mistakes []Mistake

// Error returns one line for each mistake.
func (ms Mistakes) Error() string {
	lines := make([]string, len(ms))
	for i, m := range ms {
		lines[i] = m.Error()
	}
	return strings.Join(lines, "\n")
}

// sort orders by file in the order of reading, then by line and column, and
// drops repetitions.
func (ms Mistakes) sort(files []string) Mistakes {
	rank := make(map[string]int, len(files))
	for i, f := range files {
		rank[f] = i
	}
	slices.SortStableFunc(ms, func(a, b Mistake) int {
		return cmp.Or(cmp.Compare(rank[a.File], rank[b.File]), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Col, b.Col))
	})
	return slices.Compact(ms)
}

// fault is what a grammar says about a text: the problem and what to write.
type fault struct{ problem, hint string }

func faultf(hint, format string, args ...any) *fault {
	return &fault{fmt.Sprintf(format, args...), hint}
}

// faultOf turns the error of a parser of another package, in the form
// `length "22": no unit; write "12 m"`, into a fault. The leading noun is
// dropped, for the path names it already.
func faultOf(err error) *fault {
	text := err.Error()
	if noun, rest, ok := strings.Cut(text, `"`); ok && !strings.ContainsAny(noun, ":;") {
		text = `"` + rest
	}
	if i := strings.LastIndex(text, "; "); i > 0 {
		return &fault{text[:i], text[i+2:]}
	}
	return &fault{text, ""}
}

// report collects mistakes and warnings over all files of one load.
type report struct {
	mistakes Mistakes
	warnings Mistakes
}

func (r *report) add(at Place, path, hint, format string, args ...any) {
	r.mistakes = append(r.mistakes, Mistake{at, path, fmt.Sprintf(format, args...), hint})
}

func (r *report) fault(at Place, path string, f *fault) {
	r.mistakes = append(r.mistakes, Mistake{at, path, f.problem, f.hint})
}

func (r *report) warn(at Place, path, hint, format string, args ...any) {
	r.warnings = append(r.warnings, Mistake{at, path, fmt.Sprintf(format, args...), hint})
}
