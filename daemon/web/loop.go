package web

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strings"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
)

// loopPage is the page of one loop, ready to print.
type loopPage struct {
	frameTop
	Loop     *Loop
	Row      rowView
	Place    []named
	Say      []part
	Error    bigNumber
	Numbers  []named
	Cells    []leadRow
	Where    string
	Sight    []string // what cannot be seen, in sentences
	Known    []string // how each quantity is known, one a line
	Wide     *drawing
	Tall     *drawing
	Findings []findingView
	Forecast string
	Cautions []string
	Steps    []step
	Trend    trendView
	API      string
}

// named is a thing and its value, with a key where the value moves.
type named struct{ Name, Value, Key string }

// bigNumber is the reading error as the page's main figure, with the bar that
// shows it between its limits.
type bigNumber struct {
	Value, U, From string
	Missing        string // in place of the number
	Bar            *limitBar
}

// limitBar draws an error between the limits; zero is at 150 of 300.
type limitBar struct {
	X, W, UX, UW int
	Low, High    string
	Over         bool
	Alt          string
}

// leadRow is one lead in the table of leads.
type leadRow struct {
	leadCell
	Contact string
}

// findingView is one open finding.
type findingView struct {
	State                   state
	Kind, Headline, Since   string
	Evidence, Confidence, P string
	Place                   string // the place and the members of a common cause
	Forecast                string
}

// trendView is what the script needs to draw the trend.
type trendView struct {
	Address        string
	From, Recorded time.Time
	High, Low      string // limits, plain decimal numbers; empty = none
	P10, P50, P90  time.Time
	Since          time.Time
	Bad            string // names of the leads to mark, with spaces between
}

func newLoopPage(l *Loop, g Progress, now time.Time) *loopPage {
	p := &loopPage{Loop: l, Row: newRow(0, &l.Row, now)}
	p.Title, p.Now, p.Clock, p.Charts = l.Spec.Tag, now, clock(now), true
	p.Site = l.Spec.Site
	p.Stream = "/stream/" + url.PathEscape(l.Spec.Tag)
	p.API = "/api/loops/" + url.PathEscape(l.Spec.Tag)
	p.Notice = prefixed("Polling has stalled: ", stalled(g, now))
	p.Place = place(l)
	p.Say = say(l, now)
	p.Error = newBigNumber(&l.Row)
	seen := diagnostics.Observe(*l.Spec)
	p.Known = seen.Lines()
	if s := seen.Imbalance; p.Row.Inferred {
		p.Error.From += ", " + s.String()
	}
	p.Numbers = numbers(&l.Row)
	if l.Standing != nil && p.Row.Bad == 0 { // the finding behind it may name the lead
		p.Row.Bad = behind(l, l.Standing).Leads
		p.Row.Leads = leadCells(&l.Row, p.Row.Bad)
	}
	bad := p.Row.Bad
	cells := p.leadRows()
	p.Where, p.Sight = where(l, bad), observability(l)
	p.Wide, p.Tall = wideCircuit(l, cells, bad), tallCircuit(l, cells, bad)
	for i := range l.Findings {
		v := newFindingView(&l.Findings[i], now)
		if l.Findings[i].Forecast == forecastOf(l) {
			v.Forecast = "" // it stands at the top of the page
		}
		p.Findings = append(p.Findings, v)
	}
	p.Forecast = pageForecast(l, now)
	p.Cautions, p.Steps = cautions(l), steps(l, bad)
	p.Trend = newTrendView(l, p.API, bad, now)
	return p
}

// pageForecast says when the loop leaves its limit, or why there is no date.
func pageForecast(l *Loop, now time.Time) string {
	f, alive := forecastOf(l), live(&l.Row, now)
	switch {
	case f != nil && f.State == finding.Past && alive && !l.Values.Over:
		return forecastWords(f, now) + " Just now it is within it."
	case alive && l.Values.Over && !l.failed() && (f == nil || f.State != finding.Past):
		return "The loop is over its limit just now."
	case f != nil && l.Standing != nil && l.Standing.Severity == finding.OutOfSpec && swings(reason(l).Kind) && f.State != finding.Past:
		return "While the contact is bad the loop can be over its limit; when that comes next cannot be told."
	case f != nil:
		return forecastWords(f, now)
	case !alive:
		return "No forecast while there is no live value."
	case l.failed():
		return "No forecast: the loop has failed already."
	}
	return "Nothing is under way that a date could be given for."
}

// forecastOf is the forecast of the worst finding that has one.
func forecastOf(l *Loop) *finding.Forecast {
	for i := range l.Findings {
		if f := l.Findings[i].Forecast; f != nil {
			return f
		}
	}
	return nil
}

// leadRows fills the table of leads and returns the cells of the loop's leads.
func (p *loopPage) leadRows() (cells []leadCell) {
	for _, lead := range p.Loop.Spec.Leads() {
		c := p.Row.Leads[lead]
		cells = append(cells, c)
		contact := orElse(signedOhm(p.Loop.Contact[lead]), "not known")
		p.Cells = append(p.Cells, leadRow{c, contact})
	}
	return cells
}

func place(l *Loop) []named {
	s := l.Spec
	var out []named
	for _, n := range []named{
		{"Service", s.Service, ""},
		{"Area", s.Area, ""},
		{"Junction box", s.Box, ""},
		{"Cabinet", s.Cabinet, ""},
		{"Cable", s.Cable, ""},
		{"Role", s.Role, ""},
		{"Sensor", fmt.Sprintf("%v, %v", s.Sensor, s.Class), ""},
		{"Wiring", fmt.Sprintf("%d wires, %v, transmitter reports %v", s.Wires, s.Method, s.Reports), ""},
		{"Polled", fmt.Sprintf("%s unit %d, profile %s, every %s", l.Link, l.Unit, l.Profile, span(s.Interval)), ""},
	} {
		if n.Value != "" {
			out = append(out, n)
		}
	}
	return out
}

func newBigNumber(r *Row) bigNumber {
	e, u, from := counting(r)
	b := bigNumber{From: from}
	b.Value, b.U = errorAndU(e, u)
	if b.Value == "" {
		b.Missing = notVisible
		if r.Values.At.IsZero() {
			b.Missing = noValue
		}
		return b
	}
	b.Bar = newLimitBar(r, e, u)
	return b
}

// newLimitBar scales each side to its own limit; nil where there is none.
func newLimitBar(r *Row, e, u quantity.DeltaC) *limitBar {
	high, low := float64(r.Spec.LimitHigh), float64(r.Spec.LimitLow)
	if !quantity.Known(high) || !quantity.Known(low) || high <= 0 || low >= 0 {
		return nil
	}
	px := func(x float64) int {
		side := high
		if x < 0 {
			side = -low
		}
		return 150 + int(math.Round(min(max(x/side, -1.2), 1.2)*120))
	}
	x := px(float64(e))
	b := &limitBar{
		X: min(x, 150), W: max(x, 150) - min(x, 150), Over: r.Values.Over,
		Low: signed(low, 2), High: signed(high, 2),
	}
	if quantity.Known(u) {
		b.UX = px(float64(e - u))
		b.UW = px(float64(e+u)) - b.UX
	}
	b.Alt = fmt.Sprintf("Reading error %s °C between its limits %s and %s °C", signed(float64(e), 2), b.Low, b.High)
	return b
}

func numbers(r *Row) []named {
	v := r.values()
	d := decimalsFor(float64(v.UCorrected))
	corrected := ""
	if quantity.Known(v.Corrected) {
		corrected = fixed(float64(v.Corrected), d) + prefixed(" ± ", fixed(float64(v.UCorrected), d)) + " °C"
	}
	all := []named{
		{"Reading, as indicated", degC(v.Reading), "now.reading"},
		{"Reading without the leads", corrected, "now.corrected"},
		{"Imbalance left in the reading", withUnit(signedOhm(v.Imbalance), "Ω"), "now.imbalance"},
		{"Share of the loop's limit", percent(v.ShareLimit), "now.share"},
		{"Share of class tolerance" + prefixed(", ±", withUnit(fixed(float64(v.Tolerance), 2), "°C")), percent(v.ShareTolerance), "now.tolerance"},
		{"Chance that the limit is passed now", percent(v.POverLimit), "now.p"},
	}
	if r.Spec.Calibrated == diagnostics.LeadsIn || r.Spec.Calibrated == diagnostics.CalibratedUnknown {
		e, u := errorAndU(v.Error, v.U)
		all = append(all, named{"Error, absolute", withUnit(e+prefixed(" ± ", u), "°C"), "now.absolute"})
		e, u = errorAndU(v.SinceCal, v.USinceCal)
		all = append(all, named{"Error since calibration", withUnit(e+prefixed(" ± ", u), "°C"), "now.sincecal"})
	}
	var out []named
	for _, n := range all {
		if n.Value != "" {
			out = append(out, n)
		}
	}
	return out
}

func withUnit(s, unit string) string {
	if s == "" {
		return ""
	}
	return s + " " + unit
}

func newFindingView(f *finding.Finding, now time.Time) findingView {
	v := findingView{
		Kind: string(f.Kind), Headline: upperFirst(headline(f)), Evidence: fullSentence(f.Evidence),
		Confidence: percent(f.Confidence), P: percent(f.POverLimit), Since: sinceWords(f, now, exact), Forecast: forecastWords(f.Forecast, now),
	}
	if f.Box != "" {
		v.Place = "Place: " + f.Box + prefixed(", with ", list(f.Loops)) + "."
	}
	switch diagnostics.ConditionOf(f.Severity) {
	case diagnostics.MaintenanceRequired:
		v.State = maintenance
	case diagnostics.OutOfSpecification:
		v.State = outOfSpec
	case diagnostics.ConditionFailure:
		v.State = failure
	}
	if v.P != "" && !f.Time.IsZero() {
		v.P += ", judged " + moment(f.Time)
	}
	return v
}

// exact prints the whole moment, whatever now is.
func exact(t, _ time.Time) string { return moment(t) }

// fullSentence begins with a capital, but for the name of a lead, and ends with
// a full stop.
func fullSentence(s string) string {
	if s == "" {
		return ""
	}
	return upperFirst(strings.TrimRight(s, ". ")) + "."
}

func newTrendView(l *Loop, api string, bad finding.LeadSet, now time.Time) trendView {
	t := trendView{Address: api + "/trend", From: l.History, Recorded: l.RecordedUntil}
	t.High, t.Low = plain(l.Spec.LimitHigh), plain(l.Spec.LimitLow)
	for i, n := range bad.Names() {
		if i > 0 {
			t.Bad += " "
		}
		t.Bad += n
	}
	if f := l.Standing; f != nil {
		t.Since = behind(l, f).Since
	}
	if f := forecastOf(l); f != nil && f.State == finding.Dated && f.Quantity == finding.ErrorLimit {
		t.P10, t.P50, t.P90 = told(f.P10, now), told(f.P50, now), told(f.P90, now)
	}
	return t
}

// plain is a number for a program: full stop, ASCII minus.
func plain(x quantity.DeltaC) string {
	if !quantity.Known(x) {
		return ""
	}
	return fmt.Sprint(float64(x))
}

// loopShape is what the blocks of a loop page look like apart from the numbers
// that move.
type loopShape struct {
	row      rowShape
	say      string
	names    string
	findings string
	forecast string
	bar      limitBar
	from     string
}

func (p *loopPage) shape() loopShape {
	s := loopShape{
		row: p.Row.rowShape, say: fmt.Sprint(p.Say), findings: fmt.Sprint(p.Findings), forecast: p.Forecast,
		from: p.Error.From + p.Error.Missing,
	}
	for _, n := range p.Numbers {
		s.names += n.Name + ";"
	}
	if p.Error.Bar != nil {
		s.bar = *p.Error.Bar
	}
	return s
}

// frame is the page as its stream knows it.
func (p *loopPage) frame(html func(name string, data any) string) *frame {
	f := newFrame()
	whole := p.shape()
	f.block("notice", "", p.Notice, func() string { return html("notice", p) })
	f.block("badge", "", p.Row.rowShape, func() string { return html("badge", p) })
	f.block("now", "", whole, func() string { return html("now", p) })
	f.block("circuit", "", p.Row.rowShape, func() string { return html("circuit", p) })
	f.block("leads", "", p.Row.rowShape, func() string { return html("leads", p) })
	f.block("findings", "", whole.findings, func() string { return html("findings", p) })
	f.block("steps", "", fmt.Sprint(p.Steps), func() string { return html("steps", p) })
	f.texts["now.error"], f.texts["now.u"] = p.Error.Value, p.Error.U
	for _, n := range p.Numbers {
		f.texts[n.Key] = n.Value
	}
	for _, c := range p.Cells {
		if !c.Word {
			f.texts["leads."+c.Name] = c.Text
			f.texts["circuit.wide-"+c.Name], f.texts["circuit.tall-"+c.Name] = c.Text, c.Text
		}
		f.texts["leads."+c.Name+"-contact"] = c.Contact
	}
	for _, d := range []*drawing{p.Wide, p.Tall} {
		for _, t := range d.Labels {
			if t.Key != "" {
				f.texts[t.Key] = t.Text
			}
		}
	}
	if !p.Row.At.IsZero() {
		f.at["badge.age"] = p.Row.At.Unix()
	}
	return f
}

// serveLoop answers GET /loop/{tag}.
func (s *Server) serveLoop(w http.ResponseWriter, r *http.Request) {
	l, ok := s.src.Loop(r.PathValue("tag"))
	if !ok {
		s.missing(w, "There is no loop with the tag “"+r.PathValue("tag")+"” in this plant.")
		return
	}
	p := newLoopPage(&l, s.src.Progress(), time.Now())
	p.Assets = s.assets.addresses
	s.print(w, http.StatusOK, "loop.html", p)
}

// missingPage is what an address without a page answers.
type missingPage struct {
	frameTop
	What string
}

func (s *Server) missing(w http.ResponseWriter, what string) {
	now := time.Now()
	p := &missingPage{What: what}
	p.Title, p.Now, p.Clock, p.Assets = "Not found", now, clock(now), s.assets.addresses
	s.print(w, http.StatusNotFound, "missing.html", p)
}

func (s *Server) serveNothing(w http.ResponseWriter, _ *http.Request) {
	s.missing(w, "There is no page at this address.")
}
