package config

import (
	"cmp"
	"maps"
	"slices"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// terminalDraft is one row of the terminals file.
type terminalDraft struct {
	tag, lead, enclosure, strip, terminal given[string]
	order                                 given[int]
}

func terminalColumns() []string {
	return []string{"tag", "lead", "order", "enclosure", "strip", "terminal"}
}

// terminals reads the terminal runs and attaches them to their loops.
func (l *loader) terminals(g given[tableDraft], loops []Loop) {
	if !g.value.file.ok {
		return
	}
	name, text, ok := l.named(g.value.file)
	if !ok {
		return
	}
	t := openTable(l.report, name, text, g.value.columns, terminalColumns(), "tag", "lead", "order")
	if t == nil {
		return
	}
	byTag := make(map[string]*Loop, len(loops))
	for i := range loops {
		byTag[loops[i].Tag] = &loops[i]
	}
	points := map[point]Place{}
	var r row
	for t.next(&r) {
		d := l.terminalRow(&r)
		l.attach(&d, r.at, byTag, points)
	}
	for i := range loops {
		loops[i].finishTerminals()
	}
}

func (l *loader) terminalRow(r *row) (d terminalDraft) {
	texts := map[string]*given[string]{
		"tag": &d.tag, "lead": &d.lead, "enclosure": &d.enclosure, "strip": &d.strip, "terminal": &d.terminal,
	}
	for _, c := range r.cells {
		if c.name == "order" {
			v, f := whole(1, 1000).parse(c.text)
			if f != nil {
				l.fault(c.at, c.header, f)
			}
			d.order = given[int]{value: v, at: c.at, path: c.header, ok: f == nil, bad: f != nil}
			continue
		}
		v, f := parseText(c.text)
		if f != nil {
			l.fault(c.at, c.header, f)
		}
		*texts[c.name] = given[string]{value: v, at: c.at, path: c.header, ok: f == nil, bad: f != nil}
	}
	return d
}

// point is one terminal point of one lead.
type point struct {
	tag   string
	lead  measure.Lead
	order int
}

func (l *loader) attach(d *terminalDraft, at Place, byTag map[string]*Loop, points map[point]Place) {
	if d.tag.bad || d.lead.bad || d.order.bad {
		return // reported already
	}
	if !d.tag.ok || !d.lead.ok || !d.order.ok {
		l.add(at, "", "fill in tag, lead and order", "an incomplete terminal point")
		return
	}
	loop, known := byTag[d.tag.value]
	if !known {
		l.add(d.tag.at, d.tag.path, meantOf(d.tag.value, byTag), "no loop has the tag %q", d.tag.value)
		return
	}
	lead, err := measure.ParseLead(d.lead.value)
	if err != nil {
		l.fault(d.lead.at, d.lead.path, faultOf(err))
		return
	}
	if loop.Wires != 0 && !slices.Contains(loop.Leads(), lead) {
		l.add(d.lead.at, d.lead.path, "check wires of the loop", "%s has %d wires and no lead %s", loop.Tag, loop.Wires, lead)
		return
	}
	p := point{loop.Tag, lead, d.order.value}
	if first, twice := points[p]; twice {
		l.add(d.order.at, d.order.path, "number the points of a lead from the element on", "lead %s of %s has its point %d already at %s", lead, loop.Tag, p.order, first)
		return
	}
	points[p] = at
	loop.Terminals = append(loop.Terminals, Terminal{
		Lead: lead, Order: d.order.value, Enclosure: d.enclosure.value, Strip: d.strip.value, Terminal: d.terminal.value,
	})
}

func meantOf(tag string, byTag map[string]*Loop) string {
	if n := nearest(tag, slices.Sorted(maps.Keys(byTag))); n != "" {
		return "did you mean " + n + "?"
	}
	return "want a tag of this plant"
}

// finishTerminals puts the points in order along each lead and adds what sound
// terminals contribute to the expected lead resistance.
func (l *Loop) finishTerminals() {
	slices.SortFunc(l.Terminals, func(a, b Terminal) int {
		return cmp.Or(cmp.Compare(a.Lead, b.Lead), cmp.Compare(a.Order, b.Order))
	})
	if n := len(l.Leads()); n > 0 {
		l.Points = (len(l.Terminals) + n - 1) / n
		l.Cable20 += soundTerminal * quantity.Ohm(l.Points)
	}
}
