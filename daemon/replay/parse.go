package replay

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
)

// parser turns blocks of lines into rows. Each goroutine has its own.
type parser struct {
	layout layout
	loops  map[string]int32
	next   []int32 // the loop whose row followed that of each loop last time
	tags   []string
	nan    [values]float64

	last     int32 // loop of the row before
	lastText [len(usual)]byte
	lastAt   stamp
}

func newParser(l layout, tags []string) *parser {
	p := &parser{layout: l, tags: tags, loops: make(map[string]int32, len(tags)), next: make([]int32, len(tags)+1)}
	for i, t := range tags {
		p.loops[t] = int32(i)
	}
	for i := range p.nan {
		p.nan[i] = math.NaN()
	}
	p.last = int32(len(tags)) // a loop before the first
	return p
}

// problem is one bad row of a block.
type problem struct {
	line int32 // in its block
	text string
}

// parsed is what a block holds.
type parsed struct {
	rows     []row
	problems []problem
}

// parse reads the lines of a block.
func (p *parser) parse(text []byte, out *parsed) {
	out.rows, out.problems = out.rows[:0], out.problems[:0]
	for line := int32(0); len(text) > 0; line++ {
		end := bytes.IndexByte(text, '\n')
		var l []byte
		if end < 0 {
			l, text = text, nil
		} else {
			l, text = text[:end], text[end+1:]
		}
		if n := len(l); n > 0 && l[n-1] == '\r' {
			l = l[:n-1]
		}
		if len(l) == 0 {
			continue // a blank line is no row
		}
		out.rows = append(out.rows, row{})
		r := &out.rows[len(out.rows)-1]
		if bad := p.row(l, r); bad != "" {
			out.rows = out.rows[:len(out.rows)-1]
			out.problems = append(out.problems, problem{line, bad})
			continue
		}
		r.line = line
	}
}

// row reads one line; it returns what is wrong, nothing when the row is good.
func (p *parser) row(l []byte, r *row) string {
	if len(l) > maxLine {
		return fmt.Sprintf("longer than %d bytes", maxLine)
	}
	if bytes.IndexByte(l, '"') >= 0 {
		return p.quoted(l, r)
	}
	r.value = p.nan
	for i, c := range p.layout {
		end := bytes.IndexByte(l, ',')
		field := l
		switch {
		case end < 0 && i < len(p.layout)-1:
			return fmt.Sprintf("%d fields where the header has %d", i+1, len(p.layout))
		case end >= 0 && i == len(p.layout)-1:
			return fmt.Sprintf("more than the %d fields of the header", len(p.layout))
		case end >= 0:
			field, l = l[:end], l[end+1:]
		}
		if bad := p.field(c, field, r); bad != "" {
			return bad
		}
	}
	return ""
}

// quoted reads a line with quotes the strict way.
func (p *parser) quoted(l []byte, r *row) string {
	c := csv.NewReader(bytes.NewReader(l))
	c.FieldsPerRecord = len(p.layout)
	fields, err := c.Read()
	if err != nil {
		var p *csv.ParseError
		if errors.As(err, &p) {
			err = p.Err // its line is that of this row alone
		}
		return fmt.Sprintf("not CSV: %v", err)
	}
	r.value = p.nan
	for i, c := range p.layout {
		if bad := p.field(c, []byte(fields[i]), r); bad != "" {
			return bad
		}
	}
	return ""
}

func (p *parser) field(c column, b []byte, r *row) string {
	switch c {
	case colTime:
		return p.time(b, r)
	case colLoop:
		return p.loop(b, r)
	}
	v, ok := number(b)
	if !ok {
		return fmt.Sprintf("%s %q is not a number", columnNames()[c], clip(b))
	}
	r.value[c-colA1] = v
	return ""
}

// time reads the moment of a row; most rows have that of the row before.
func (p *parser) time(b []byte, r *row) string {
	if len(b) == len(usual) && [len(usual)]byte(b) == p.lastText {
		r.at = p.lastAt
		return ""
	}
	at, ok := readStamp(b)
	if !ok {
		at, ok = readStamp(bytes.TrimSpace(b))
	}
	if !ok {
		return fmt.Sprintf("time %q is not RFC 3339, as in 2026-03-01T12:00:00Z, of 1970 to 2200", clip(b))
	}
	r.at = at
	if len(b) == len(usual) {
		p.lastText, p.lastAt = [len(usual)]byte(b), at
	}
	return ""
}

// loop finds the number of a tag. Loops mostly follow each other in the same
// order, which saves the look-up.
func (p *parser) loop(b []byte, r *row) string {
	guess := p.next[p.last]
	if int(guess) < len(p.tags) && string(b) == p.tags[guess] {
		r.loop, p.last = guess, guess
		return ""
	}
	i, ok := p.loops[string(b)]
	if !ok {
		i, ok = p.loops[string(bytes.TrimSpace(b))]
	}
	if !ok {
		return fmt.Sprintf("loop %q is not in the plant", clip(b))
	}
	p.next[p.last], p.last, r.loop = i, i, i
	return ""
}

func clip(b []byte) string {
	const most = 40
	if len(b) <= most {
		return string(b)
	}
	return string(b[:most]) + "…"
}
