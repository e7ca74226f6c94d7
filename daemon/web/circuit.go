package web

import (
	"fmt"
	"slices"
	"strings"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// drawing is a picture as its shapes; the template only prints them.
type drawing struct {
	ID, Class   string
	W, H        int
	Title, Desc string
	Frames      []rect
	Wires       []wire
	Points      []point
	Labels      []label
	Element     rect
	Slash       string // path across the element: a resistor that depends on temperature
}

type rect struct{ X, Y, W, H int }

type wire struct{ D, Class string }

type point struct {
	X, Y    int
	Class   string
	Suspect bool
}

type label struct {
	X, Y               int
	Class, Text, Key   string
	Middle, End, Block bool
}

// paper turns the circuit's own directions (along the leads from the element to
// the transmitter, across from lead to lead) into x and y: leads run to the
// right on a wide screen and downwards on a tall one.
type paper struct {
	tall       bool
	start, end int // along: from the element to the last terminal
	first, gap int // across: first lead and distance of leads
	leads      []measure.Lead
}

func (p paper) xy(along, across int) (x, y int) {
	if p.tall {
		return across, along
	}
	return along, across
}

// across returns the place of lead number i.
func (p paper) across(i int) int { return p.first + i*p.gap }

// path draws lines through points given as along, across pairs.
func (p paper) path(points ...int) string {
	var b strings.Builder
	for i := 0; i < len(points); i += 2 {
		x, y := p.xy(points[i], points[i+1])
		fmt.Fprintf(&b, "%c%d %d", "ML"[min(i, 1)], x, y)
	}
	return b.String()
}

// stage is one enclosure that the leads pass.
type stage struct {
	Name   string
	order  int
	points map[measure.Lead]string // labels, strip and number
	strip  string                  // of all points, empty where they differ
	bare   map[measure.Lead]string // numbers without their strip
}

func stages(l *Loop) []stage {
	var out []stage
	for _, t := range l.Terminals {
		i := slices.IndexFunc(out, func(s stage) bool { return s.order == t.Order })
		if i < 0 {
			i = len(out)
			out = append(out, stage{t.Enclosure, t.Order, map[measure.Lead]string{}, t.Strip, map[measure.Lead]string{}})
		}
		s := &out[i]
		s.points[t.Lead], s.bare[t.Lead] = pointLabel(t), t.Terminal
		if s.strip != t.Strip {
			s.strip = ""
		}
	}
	slices.SortStableFunc(out, func(a, b stage) int { return a.order - b.order })
	return out
}

const (
	wideW, tallW   = 1060, 358
	wideGap        = 66
	tallStage      = 78
	elementAt      = 34  // along, of the element's axis
	branchAt       = 124 // along, where leads of one side part
	tallBranchAt   = 74  // the same where the sensor's name stands elsewhere
	elementLen     = 40
	elementBreadth = 18
	endWire        = 70 // along, from the last terminal to the end of the wire
	nameChars      = 10 // of an enclosure's name on one line of a tall drawing
)

// wideCircuit draws the run from left to right, tallCircuit from top to bottom.
func wideCircuit(l *Loop, cells []leadCell, bad finding.LeadSet) *drawing {
	p := paper{start: 190, end: 748, first: 64, gap: wideGap, leads: l.Spec.Leads()}
	d := &drawing{ID: "wide", Class: "wide", W: wideW, H: p.across(len(p.leads)-1) + 44}
	d.draw(l, p, cells, bad)
	return d
}

func tallCircuit(l *Loop, cells []leadCell, bad finding.LeadSet) *drawing {
	n := max(len(stages(l)), 1)
	p := paper{tall: true, start: 132, first: 118, leads: l.Spec.Leads()}
	p.gap = (tallW - 62 - p.first) / max(len(p.leads)-1, 1)
	p.end = p.start + (n-1)*tallStage
	d := &drawing{ID: "tall", Class: "tall", W: tallW, H: p.end + 112}
	d.draw(l, p, cells, bad)
	return d
}

func (d *drawing) draw(l *Loop, p paper, cells []leadCell, bad finding.LeadSet) {
	d.Title = fmt.Sprintf("Circuit of loop %s, %d wires", l.Spec.Tag, l.Spec.Wires)
	d.Desc = describe(l, cells, bad)
	d.element(l, p)
	st := stages(l)
	for i, s := range st {
		d.enclosure(p, s, at(p, i, len(st)), len(st))
	}
	for i, lead := range p.leads {
		d.lead(p, i, cells[i], lead)
		for k, s := range st {
			if text, ok := s.label(p, lead); ok {
				d.terminal(p, at(p, k, len(st)), i, text, cells[i].Bad, suspect(l, s.Name, lead, bad))
			}
		}
		d.value(p, i, l, cells[i], lead)
	}
	d.headings(p)
}

// label is the text at the terminal of a lead. A narrow drawing has the name of
// the strip beside the enclosure's, once.
func (s *stage) label(p paper, lead measure.Lead) (string, bool) {
	from := s.points
	if p.tall && s.strip != "" {
		from = s.bare
	}
	text, ok := from[lead]
	return text, ok
}

// at is the place along of stage k of n.
func at(p paper, k, n int) int {
	if n < 2 {
		return p.end
	}
	return p.start + k*(p.end-p.start)/(n-1)
}

func suspect(l *Loop, enclosure string, lead measure.Lead, bad finding.LeadSet) bool {
	return bad.Has(lead) && (l.Standing == nil || l.Standing.Box == "" || l.Standing.Box == enclosure)
}

// firstB is the number of the first lead on element side B.
func (p paper) firstB() int { return slices.Index(p.leads, measure.B1) }

func (d *drawing) element(l *Loop, p paper) {
	a, b := p.across(0), p.across(p.firstB())
	mid := (a + b) / 2
	x, y := p.xy(elementAt-elementBreadth/2, mid-elementLen/2)
	d.Element = rect{x, y, elementBreadth, elementLen}
	if p.tall {
		d.Element.W, d.Element.H = elementLen, elementBreadth
	}
	d.Wires = append(d.Wires, wire{p.path(elementAt, a, elementAt, mid-elementLen/2), "plain"},
		wire{p.path(elementAt, mid+elementLen/2, elementAt, b), "plain"})
	d.Slash = p.path(elementAt-18, mid-26, elementAt-18, mid-16, elementAt+18, mid+20)
	lx, ly := elementAt+28, mid+5
	if p.tall {
		lx, ly = 12, elementAt+5
	}
	d.Labels = append(d.Labels, label{X: lx, Y: ly, Class: "sensor", Text: fmt.Sprint(l.Spec.Sensor)})
}

func (d *drawing) lead(p paper, i int, c leadCell, lead measure.Lead) {
	class := "lead"
	switch {
	case c.Bad:
		class = "lead bad"
	case c.Word:
		class = "lead unseen"
	}
	end := p.end + endWire
	if p.tall {
		end = p.end + 34
	}
	from := p.across(0)
	if lead >= measure.B1 {
		from = p.across(p.firstB())
	}
	branch := branchAt
	if p.tall {
		branch = tallBranchAt
	}
	path := p.path(elementAt, p.across(i), end, p.across(i))
	if from != p.across(i) { // the second lead of its side parts from the first
		path = p.path(branch, from, branch, p.across(i), end, p.across(i))
		x, y := p.xy(branch, from)
		d.Points = append(d.Points, point{X: x, Y: y, Class: "join"})
	}
	d.Wires = append(d.Wires, wire{path, class})
	if c.Bad {
		d.Wires = append(d.Wires, wire{path, "core"})
	}
}

func (d *drawing) enclosure(p paper, s stage, along, count int) {
	last := p.across(len(p.leads) - 1)
	if p.tall {
		names, strips := wrapped(s.Name, nameChars), wrapped(s.strip, nameChars)
		n := len(names) + len(strips)
		high := max(52, 16*n+6)
		d.Frames = append(d.Frames, rect{4, along - high/2, tallW - 8, high})
		for i, line := range append(names, strips...) {
			class := "place"
			if i >= len(names) {
				class = "number"
			}
			d.Labels = append(d.Labels, label{X: 12, Y: along + 5 + 16*i - 8*(n-1), Class: class, Text: line})
		}
		return
	}
	half := 62 // half the width of a frame: room for a terminal's label
	if count > 1 {
		half = min(half, (p.end-p.start)/(count-1)/2-6)
	}
	d.Frames = append(d.Frames, rect{along - half, 34, 2 * half, last - 34 + 32})
	d.Labels = append(d.Labels, label{X: along, Y: 22, Class: "place", Text: s.Name, Middle: true})
}

// wrapped breaks a name at its spaces into lines of about n characters, at most
// three; the rest stays on the last.
func wrapped(name string, n int) (lines []string) {
	for _, w := range strings.Fields(name) {
		if k := len(lines); k > 0 && (k == 3 || len(lines[k-1])+1+len(w) <= n) {
			lines[k-1] += " " + w
			continue
		}
		lines = append(lines, w)
	}
	return lines
}

func (d *drawing) terminal(p paper, along, i int, text string, bad, suspected bool) {
	x, y := p.xy(along, p.across(i))
	class := "terminal"
	if bad {
		class = "terminal bad"
	}
	d.Points = append(d.Points, point{x, y, class, suspected})
	t := label{X: x, Y: y + 24, Class: "number", Text: text, Middle: true}
	if suspected {
		t.Y += 5
	}
	if p.tall {
		t.X, t.Y, t.Middle = x+13, y+5, false
		if suspected {
			t.X += 5
		}
	}
	d.Labels = append(d.Labels, t)
}

// value prints lead name, whole resistance and contact part at the transmitter
// end of lead i.
func (d *drawing) value(p paper, i int, l *Loop, c leadCell, lead measure.Lead) {
	class := "value"
	if c.Bad {
		class = "value bad"
	}
	name := label{Class: class + " name", Text: c.Name}
	whole := label{Class: class, Text: c.Text, Key: "circuit." + d.ID + "-" + c.Name}
	contact := label{Class: class, Text: contactText(l, lead), Key: "circuit." + d.ID + "-" + c.Name + "-contact"}
	if c.Word {
		whole.Class, whole.Key = "word", ""
	}
	x, y := p.xy(p.end+endWire+10, p.across(i))
	if p.tall {
		y = p.end + 44
		name.X, name.Y, name.Middle = x, y+8, true
		whole.X, whole.Y, whole.Middle = x, y+32, true
		contact.X, contact.Y, contact.Middle = x, y+56, true
	} else {
		name.X, name.Y = x, y+6
		whole.X, whole.Y, whole.End = x+120, y+6, true
		contact.X, contact.Y, contact.End = x+230, y+6, true
	}
	if one, two, broken := strings.Cut(c.Text, " "); p.tall && c.Word && broken { // "not visible" is wider than its place
		whole.Text, whole.Y = one, y+24
		below := whole
		below.Text, below.Y = two, y+39
		d.Labels = append(d.Labels, below)
	}
	d.Labels = append(d.Labels, name, whole, contact)
}

func (d *drawing) headings(p paper) {
	x, y := p.end+endWire+10, 22
	if p.tall {
		d.Labels = append(d.Labels, label{X: 12, Y: p.end + 76, Class: "head", Text: "lead, Ω"},
			label{X: 12, Y: p.end + 100, Class: "head", Text: "contact, Ω"})
		return
	}
	d.Labels = append(d.Labels, label{X: x + 120, Y: y, Class: "head", Text: "lead, Ω", End: true},
		label{X: x + 230, Y: y, Class: "head", Text: "contact, Ω", End: true})
}

func contactText(l *Loop, lead measure.Lead) string {
	if !quantity.Known(l.Contact[lead]) {
		return "–"
	}
	return signedOhm(l.Contact[lead])
}

// describe says in words what the picture shows.
func describe(l *Loop, cells []leadCell, bad finding.LeadSet) string {
	var b strings.Builder
	var names []string
	for _, s := range stages(l) {
		names = append(names, s.Name)
	}
	fmt.Fprintf(&b, "From the sensor %v", l.Spec.Sensor)
	if len(names) > 0 {
		fmt.Fprintf(&b, " through %s", list(names))
	} else {
		b.WriteString(" to the transmitter; the terminals are not listed in the plant")
	}
	for _, c := range cells {
		unit := " ohm"
		if c.Word {
			unit = ""
		}
		fmt.Fprintf(&b, "; %s %s%s", c.Name, c.Text, unit)
	}
	if bad != 0 {
		fmt.Fprintf(&b, ". Marked: %s", list(bad.Names()))
	}
	return b.String() + "."
}
