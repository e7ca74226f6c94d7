package config

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
)

// ignore is the name that a column map gives to a column that is not wanted.
const ignore = "ignore"

// table reads a CSV file row by row: UTF-8 with or without a byte-order mark,
// LF or CRLF, quoted fields, separated by comma, semicolon or tab (whichever
// the header line has most of).
type table struct {
	*report
	file    string
	csv     *csv.Reader
	headers []string // as in the file
	names   []string // what each column is called here; empty = not wanted or not known
	meant   []string // columns that were probably meant by unknown ones
}

// openTable reads the header line. known lists the names of columns, must the
// one that cannot be left out.
func openTable(rep *report, file string, text []byte, columns given[map[string]given[string]], known []string, must ...string) *table {
	text = bytes.TrimPrefix(text, []byte("\xEF\xBB\xBF"))
	if !(&reader{file, rep}).readable(text) {
		return nil
	}
	t := &table{report: rep, file: file, csv: csv.NewReader(bytes.NewReader(text))}
	t.csv.FieldsPerRecord = -1
	t.csv.ReuseRecord = true
	t.csv.Comma = separator(text)
	head, err := t.csv.Read()
	if errors.Is(err, io.EOF) {
		rep.add(Place{file, 1, 1}, "", "write a header line with "+orList(must), "the file is empty")
		return nil
	}
	if err != nil {
		t.syntax(err)
		return nil
	}
	for _, h := range head {
		t.headers = append(t.headers, strings.TrimSpace(h))
	}
	t.nameColumns(columns, known, must)
	return t
}

// separator is what the header line has most of, comma where it has none.
func separator(text []byte) rune {
	line, _, _ := bytes.Cut(text, []byte("\n"))
	best, most := ',', 0
	inQuotes := false
	count := map[rune]int{}
	for _, c := range string(line) {
		if c == '"' {
			inQuotes = !inQuotes
		} else if !inQuotes {
			count[c]++
		}
	}
	for _, c := range [...]rune{',', ';', '\t'} {
		if count[c] > most {
			best, most = c, count[c]
		}
	}
	return best
}

// nameColumns gives each column its name here: by the site's map, or its own.
func (t *table) nameColumns(columns given[map[string]given[string]], known, must []string) {
	first := map[string]string{}
	for i, h := range t.headers {
		line, col := t.csv.FieldPos(i)
		at := Place{t.file, line, col}
		mapped, ok := columns.value[h]
		name := h
		if ok {
			name = mapped.value
		}
		switch {
		case name == ignore:
			t.names = append(t.names, "")
			continue
		case !slices.Contains(known, name) && ok:
			t.add(mapped.at, mapped.path, meant(name, append(slices.Clip(known), ignore)), "%q is no column of this table", clip(name))
			t.unknown(name, known)
			name = ""
		case !slices.Contains(known, name):
			t.add(at, clip(h), t.columnHint(name, known), "unknown column")
			t.unknown(name, known)
			name = ""
		case first[name] != "":
			t.add(at, clip(h), "keep one of them", "column %s is given twice, first as %q", name, first[name])
			name = ""
		default:
			first[name] = h
		}
		t.names = append(t.names, name)
	}
	t.checkColumns(columns, first, must)
}

func (t *table) checkColumns(columns given[map[string]given[string]], first map[string]string, must []string) {
	for _, h := range slices.Sorted(maps.Keys(columns.value)) {
		if m := columns.value[h]; !slices.Contains(t.headers, h) {
			t.add(m.at, m.path, meant(h, t.headers), "file %s has no column %q", t.file, clip(h))
		}
	}
	for _, name := range must {
		if first[name] == "" && !slices.Contains(t.meant, name) {
			t.add(Place{t.file, 1, 1}, "", fmt.Sprintf("add it, or map one of yours to it under columns: {%s: %s}", firstOf(t.headers), name), "no column %s", name)
		}
	}
}

// unknown remembers which column an unknown one was probably meant to be.
func (t *table) unknown(name string, known []string) {
	if n := nearest(name, known); n != "" && !slices.Contains(t.meant, n) {
		t.meant = append(t.meant, n)
	}
}

func (t *table) columnHint(name string, known []string) string {
	if n := nearest(name, known); n != "" {
		return fmt.Sprintf("did you mean %s? Otherwise map it to ignore", n)
	}
	return "map it to ignore under columns, or to one of " + orList(known)
}

func firstOf(headers []string) string {
	if len(headers) == 0 || headers[0] == "" {
		return "Your Name"
	}
	return clip(headers[0])
}

// row is one row of a table: the cells that hold something, with place and
// header.
type row struct {
	at    Place
	cells []cell
}

type cell struct {
	name, header, text string
	at                 Place
}

// next returns the next row that has anything in it; false at the end. Its
// cells are valid until the next call.
func (t *table) next(r *row) bool {
	for {
		record, err := t.csv.Read()
		if errors.Is(err, io.EOF) {
			return false
		}
		if err != nil {
			t.syntax(err)
			return false
		}
		if strings.TrimSpace(strings.Join(record, "")) == "" {
			continue
		}
		line, col := t.csv.FieldPos(0)
		r.at, r.cells = Place{t.file, line, col}, r.cells[:0]
		if len(record) != len(t.headers) {
			t.add(r.at, "", "check separators and quotes", "%d fields where the header line has %d", len(record), len(t.headers))
			continue
		}
		t.fill(r, record)
		return true
	}
}

func (t *table) fill(r *row, record []string) {
	for i, text := range record {
		text = strings.TrimSpace(text)
		if text == "" || t.names[i] == "" {
			continue
		}
		line, col := t.csv.FieldPos(i)
		r.cells = append(r.cells, cell{t.names[i], t.headers[i], text, Place{t.file, line, col}})
	}
}

func (t *table) syntax(err error) {
	var p *csv.ParseError
	if errors.As(err, &p) {
		t.add(Place{t.file, p.Line, p.Column}, "", "double a quote inside quotes, close each one", "%v", p.Err)
		return
	}
	t.add(Place{t.file, 1, 1}, "", "", "%v", err)
}
