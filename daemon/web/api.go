package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
)

// number is a JSON number; null where it is not known. It is rounded to a
// millionth: finer digits are noise.
type number float64

// MarshalJSON writes the number or null.
func (n number) MarshalJSON() ([]byte, error) {
	if !quantity.Known(n) {
		return []byte("null"), nil
	}
	x := math.Round(float64(n)*1e6) / 1e6
	if x == 0 {
		x = 0 // no negative zero
	}
	return strconv.AppendFloat(nil, x, 'f', -1, 64), nil
}

// timeText is RFC 3339, null for none.
func timeText(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	s := stamp(t)
	return &s
}

// loopJSON is one loop in /api/loops; units are in the names.
type loopJSON struct {
	Loop         string            `json:"loop"`
	Area         string            `json:"area"`
	Box          string            `json:"box"`
	Wires        int               `json:"wires"`
	Method       string            `json:"method"`
	Reports      string            `json:"reports"`
	Condition    string            `json:"condition"`
	Quality      int               `json:"quality"`
	QualityText  string            `json:"quality_text"`
	Problem      string            `json:"problem,omitempty"`
	Live         bool              `json:"live"`
	ValueTime    *string           `json:"value_time"`
	PollTime     *string           `json:"poll_time"`
	LeadOhm      map[string]number `json:"lead_ohm"`
	ImbalanceOhm number            `json:"imbalance_ohm"`
	ErrorDegC    number            `json:"error_degC"`
	UDegC        number            `json:"u_degC"`
	ErrorFrom    string            `json:"error_from"`
	ReadingDegC  number            `json:"reading_degC"`
	ShareOfLimit number            `json:"share_of_limit"`
	POverLimit   number            `json:"p_over_limit"`
	Finding      *finding.Finding  `json:"finding"`
	Findings     int               `json:"open_findings"`
}

func newLoopJSON(r *Row, now time.Time) loopJSON {
	e, u, from := counting(r)
	j := loopJSON{
		Loop: r.Spec.Tag, Area: r.Spec.Area, Box: r.Spec.Box, Wires: r.Spec.Wires,
		Method: r.Spec.Method.String(), Reports: r.Spec.Reports.String(), Condition: stateOf(r, now).Key(),
		Quality: int(qualityOf(r, now)), QualityText: qualityWords(r, now), Problem: r.Problem, Live: live(r, now),
		ValueTime: timeText(r.Values.At), PollTime: timeText(r.Polled), LeadOhm: map[string]number{},
		ErrorFrom: from, Finding: r.Standing, Findings: r.Open,
	}
	v := r.values()
	for _, l := range r.Spec.Leads() {
		j.LeadOhm[l.String()] = number(v.Leads[l])
	}
	j.ImbalanceOhm, j.ErrorDegC, j.UDegC = number(v.Imbalance), number(e), number(u)
	j.ReadingDegC, j.ShareOfLimit, j.POverLimit = number(v.Reading), number(v.ShareLimit), number(v.POverLimit)
	return j
}

// loopsAnswer is the answer of /api/loops.
type loopsAnswer struct {
	Site           string     `json:"site"`
	Time           string     `json:"time"`
	PollsPerSecond number     `json:"polls_per_second"`
	Loops          []loopJSON `json:"loops"`
}

func (s *Server) serveAPILoops(w http.ResponseWriter, _ *http.Request) {
	now := time.Now()
	o := s.src.Overview()
	a := loopsAnswer{o.Site, stamp(now), number(s.src.Progress().PollsPerSecond), make([]loopJSON, 0, len(o.Loops))}
	for i := range o.Loops {
		a.Loops = append(a.Loops, newLoopJSON(&o.Loops[i], now))
	}
	slices.SortFunc(a.Loops, func(a, b loopJSON) int { return strings.Compare(a.Loop, b.Loop) })
	answer(w, http.StatusOK, a)
}

// terminalJSON is one point of a terminal run.
type terminalJSON struct {
	Lead      string `json:"lead"`
	Order     int    `json:"order"`
	Enclosure string `json:"enclosure"`
	Strip     string `json:"strip"`
	Terminal  string `json:"terminal"`
}

// loopAnswer is the answer of /api/loops/{tag}.
type loopAnswer struct {
	loopJSON
	Site          string            `json:"site"`
	Time          string            `json:"time"`
	ContactOhm    map[string]number `json:"contact_ohm"`
	AbsoluteDegC  number            `json:"error_absolute_degC"`
	SinceCalDegC  number            `json:"error_since_calibration_degC"`
	LimitHighDegC number            `json:"limit_high_degC"`
	LimitLowDegC  number            `json:"limit_low_degC"`
	Link          string            `json:"link"`
	Unit          int               `json:"unit"`
	Profile       string            `json:"profile"`
	IntervalS     number            `json:"interval_s"`
	Terminals     []terminalJSON    `json:"terminals"`
	All           []finding.Finding `json:"findings"`
	Observability []string          `json:"observability"`
	History       *string           `json:"history_from"`
	RecordedUntil *string           `json:"recorded_until"`
}

func (s *Server) serveAPILoop(w http.ResponseWriter, r *http.Request) {
	l, ok := s.src.Loop(r.PathValue("tag"))
	if !ok {
		problem(w, http.StatusNotFound, "there is no loop with the tag "+strconv.Quote(r.PathValue("tag")))
		return
	}
	now := time.Now()
	a := loopAnswer{
		loopJSON: newLoopJSON(&l.Row, now), Site: l.Spec.Site, Time: stamp(now), ContactOhm: map[string]number{},
		AbsoluteDegC: number(l.values().Error), SinceCalDegC: number(l.values().SinceCal),
		LimitHighDegC: number(l.Spec.LimitHigh), LimitLowDegC: number(l.Spec.LimitLow),
		Link: l.Link, Unit: int(l.Unit), Profile: l.Profile, IntervalS: number(l.Spec.Interval.Seconds()),
		Terminals: []terminalJSON{}, All: append([]finding.Finding{}, l.Findings...), Observability: observability(&l),
		History: timeText(l.History), RecordedUntil: timeText(l.RecordedUntil),
	}
	for _, lead := range l.Spec.Leads() {
		a.ContactOhm[lead.String()] = number(l.Contact[lead])
	}
	for _, t := range l.Terminals {
		a.Terminals = append(a.Terminals, terminalJSON{t.Lead.String(), t.Order, t.Enclosure, t.Strip, t.Terminal})
	}
	answer(w, http.StatusOK, a)
}

// The widths of a trend, in steps.
const (
	defaultWidth = 600
	maxWidth     = 2000
)

func (s *Server) serveAPITrend(w http.ResponseWriter, r *http.Request) {
	tag, now := r.PathValue("tag"), time.Now()
	l, ok := s.src.Loop(tag)
	if !ok {
		problem(w, http.StatusNotFound, "there is no loop with the tag "+strconv.Quote(tag))
		return
	}
	from, to, width, err := trendRange(r, l.History, now)
	if err != nil {
		problem(w, http.StatusBadRequest, err.Error())
		return
	}
	d := &decimator{from: from, step: stepsFor(from, to, width)}
	if err := s.src.Trend(r.Context(), tag, from, to, d.step, d.add); err != nil {
		s.trendFailed(w, r, tag, err)
		return
	}
	answer(w, http.StatusOK, d.answer(tag, from, to, l.RecordedUntil))
}

func (s *Server) trendFailed(w http.ResponseWriter, r *http.Request, tag string, err error) {
	switch {
	case r.Context().Err() != nil: // the reader is gone
	case errors.Is(err, ErrUnknownLoop):
		problem(w, http.StatusNotFound, "there is no loop with the tag "+strconv.Quote(tag))
	default:
		s.log.Error().Err(err).Str("loop", tag).Msg("trend could not be read")
		problem(w, http.StatusInternalServerError, "the recorded values could not be read; the log says why")
	}
}

// trendRange reads from, to and width; without them the whole history.
func trendRange(r *http.Request, history, now time.Time) (from, to time.Time, width int, err error) {
	from, to, width = history, now, defaultWidth
	if from.IsZero() {
		from = now.Add(-24 * time.Hour)
	}
	v := r.URL.Query()
	for _, p := range []struct {
		name string
		into *time.Time
	}{{"from", &from}, {"to", &to}} {
		if text := v.Get(p.name); text != "" {
			if *p.into, err = time.Parse(time.RFC3339, text); err != nil {
				return from, to, width, fmt.Errorf("%s=%s is not a time; write 2026-10-09T06:00:00Z", p.name, text)
			}
		}
	}
	if !from.Before(to) {
		return from, to, width, fmt.Errorf("from %s is not before to %s", stamp(from), stamp(to))
	}
	if text := v.Get("width"); text != "" {
		if width, err = strconv.Atoi(text); err != nil || width < 1 || width > maxWidth {
			return from, to, width, fmt.Errorf("width=%s is not a number of steps from 1 to %d", text, maxWidth)
		}
	}
	return from, to, width, nil
}

// answer writes JSON.
func answer(w http.ResponseWriter, status int, v any) {
	b, err := json.Marshal(v)
	if err != nil {
		http.Error(w, `{"title":"answer could not be written"}`, http.StatusInternalServerError)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "application/json")
	h.Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = w.Write(append(b, '\n')) // the reader is gone: nobody is left to tell
}

// problem answers with problem details (RFC 9457).
func problem(w http.ResponseWriter, status int, detail string) {
	b, _ := json.Marshal(map[string]any{"title": http.StatusText(status), "status": status, "detail": detail}) // strings and a number always marshal
	w.Header().Set("Content-Type", "application/problem+json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = w.Write(append(b, '\n'))
}
