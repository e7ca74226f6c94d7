package config

import (
	"fmt"
	"slices"

	"ohmdrift/diagnostics/rtd"
)

// IndexOptions say how an instrument index is read without a plant file.
type IndexOptions struct {
	Options
	Columns map[string]string // the site's own column names and what they are called here
}

// LoadIndex reads an instrument index alone, as replay needs it: columns of the
// link are read and not used, and profiles are the built-in ones. The error is
// Mistakes when the file can be read but not accepted.
func LoadIndex(file string, o IndexOptions) (*Plant, error) {
	l := newLoader(o.Options)
	text, err := l.read(file)
	if err != nil {
		return nil, fmt.Errorf("read the instrument index: %w", err)
	}
	l.loadProfiles(nil)
	columns := given[map[string]given[string]]{value: map[string]given[string]{}}
	for own, name := range o.Columns {
		columns.value[own] = given[string]{value: name, at: Place{File: "columns"}, path: own, ok: true}
	}
	drafts := l.indexRows(file, text, columns)
	res := &loopResolver{report: l.report, profileNamed: l.profile, profileNames: l.names, broken: l.brokenProfile, sensors: map[string]rtd.Sensor{}}
	p := &Plant{Loops: res.loops(drafts)}
	if len(drafts) == 0 && len(l.mistakes) == 0 {
		l.add(Place{file, 2, 1}, "", "write one row a loop", "the index has no loops")
	}
	if err := l.result(); err != nil {
		return nil, err
	}
	if len(p.Loops) > 0 {
		p.Site = p.Loops[0].Site
	}
	p.Warnings = l.warnings.sort(l.files)
	p.Files = l.files
	p.Hash = l.sum()
	return p, nil
}

// indexRows reads the rows of an instrument index.
func (l *loader) indexRows(file string, text []byte, columns given[map[string]given[string]]) []given[loopDraft] {
	known := map[string]column{}
	var names []string
	for _, p := range properties() {
		known[p.column.name] = p.column
		names = append(names, p.column.name)
	}
	t := openTable(l.report, file, text, columns, names, "tag")
	if t == nil {
		return nil
	}
	var drafts []given[loopDraft]
	var r row
	for t.next(&r) {
		var d loopDraft
		for _, c := range r.cells {
			known[c.name].read(l.report, c.text, c.at, c.header, &d)
		}
		for _, name := range t.meant {
			known[name].spoil(&d)
		}
		if d.tag.absent() && slices.Contains(t.names, "tag") {
			l.add(r.at, "", "fill in the column tag", "a row without a tag")
		}
		drafts = append(drafts, given[loopDraft]{value: d, at: r.at, ok: true})
	}
	return drafts
}
