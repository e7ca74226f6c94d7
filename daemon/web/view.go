package web

import (
	"cmp"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// pageRows is how many loops one page of the table shows.
const pageRows = 250

// query is what the reader of the table asked for.
type query struct {
	Sort string // name of a column, "" = worst first
	Desc bool
	Text string // found in tag, area, box, method or what stands
	Area string
	Cond string // key of a state
	Page int    // from 1
}

func parseQuery(v url.Values) query {
	q := query{
		Sort: v.Get("sort"), Desc: v.Get("dir") == "desc", Text: strings.TrimSpace(v.Get("q")),
		Area: v.Get("area"), Cond: v.Get("condition"), Page: 1,
	}
	if !slices.ContainsFunc(columns(), func(c column) bool { return c.Key == q.Sort }) {
		q.Sort, q.Desc = "", false
	}
	if n, err := strconv.Atoi(v.Get("page")); err == nil && n > 1 {
		q.Page = n
	}
	return q
}

// address returns the link to this query.
func (q query) address() string {
	v := url.Values{}
	set := func(key, val string) {
		if val != "" {
			v.Set(key, val)
		}
	}
	set("sort", q.Sort)
	if q.Desc {
		v.Set("dir", "desc")
	}
	set("q", q.Text)
	set("area", q.Area)
	set("condition", q.Cond)
	if q.Page > 1 {
		v.Set("page", strconv.Itoa(q.Page))
	}
	return "/?" + v.Encode()
}

// column is one heading of the table.
type column struct {
	Key, Title, Unit string
	Biggest          bool // the first click sorts the largest to the top
}

func columns() []column {
	return []column{
		{"condition", "Condition", "", true},
		{"tag", "Tag", "", false},
		{"area", "Area", "", false},
		{"box", "Box", "", false},
		{"method", "Method", "", false},
		{"a1", "a1", "Ω", true},
		{"a2", "a2", "Ω", true},
		{"b1", "b1", "Ω", true},
		{"b2", "b2", "Ω", true},
		{"imbalance", "Imbalance", "Ω", true},
		{"error", "Error ± U", "°C", true},
		{"limit", "Of limit", "", true},
		{"stands", "What stands", "", false},
		{"age", "Value", "", true},
	}
}

// view is one page of the table, in order, and the counts over the whole plant.
type view struct {
	query    query
	rows     []*Row
	matched  int // rows that pass the filters
	pages    int
	total    int
	counts   [len(stateKeys)]int // by state, over rows that pass text and area
	areas    []string
	oldest   *Row   // with the oldest value; nil = none has one
	never    int    // loops without any value
	standing uint64 // changes when the state or the worst finding of a matched row does
}

// sortKey is what a row is sorted by: a number, or a text where text is set.
type sortKey struct {
	row   *Row
	num   float64
	text  string
	share float64 // of the limit, for equals
}

// look sorts, filters and pages the loops.
func look(o *Overview, q query, now time.Time) view {
	v := view{query: q, total: len(o.Loops)}
	areas := map[string]bool{}
	var keys []sortKey
	for i := range o.Loops {
		r := &o.Loops[i]
		areas[r.Spec.Area] = true
		v.noteAge(r)
		if !matches(r, q, now) {
			continue
		}
		st := stateOf(r, now)
		v.counts[st]++
		if q.Cond != "" && st.Key() != q.Cond {
			continue
		}
		v.standing ^= fingerprint(r, st)
		keys = append(keys, keyOf(r, q.Sort, st, now))
	}
	slices.SortFunc(keys, func(a, b sortKey) int { return compareKeys(a, b, q) })
	v.page(keys)
	for a := range areas {
		if a != "" {
			v.areas = append(v.areas, a)
		}
	}
	slices.Sort(v.areas)
	return v
}

func (v *view) noteAge(r *Row) {
	switch {
	case r.Values.At.IsZero():
		v.never++
	case v.oldest == nil || r.Values.At.Before(v.oldest.Values.At):
		v.oldest = r
	}
}

func (v *view) page(keys []sortKey) {
	v.matched = len(keys)
	v.pages = max(1, (len(keys)+pageRows-1)/pageRows)
	v.query.Page = min(v.query.Page, v.pages)
	from := (v.query.Page - 1) * pageRows
	for _, k := range keys[from:min(from+pageRows, len(keys))] {
		v.rows = append(v.rows, k.row)
	}
}

func matches(r *Row, q query, now time.Time) bool {
	if q.Area != "" && r.Spec.Area != q.Area {
		return false
	}
	if q.Text == "" {
		return true
	}
	text := strings.ToLower(q.Text)
	for _, s := range []string{r.Spec.Tag, r.Spec.Area, r.Spec.Box, r.Spec.Service, r.Spec.Method.String()} {
		if strings.Contains(strings.ToLower(s), text) {
			return true
		}
	}
	return r.Standing != nil && strings.Contains(strings.ToLower(standing(r.Standing, now)), text)
}

// fingerprint changes with the tag, the state and the kind of the worst finding
// (FNV-1a; combined by exclusive or, so that the order of loops has no part).
func fingerprint(r *Row, st state) uint64 {
	h := uint64(14695981039346656037)
	add := func(s string) {
		for i := range len(s) {
			h = (h ^ uint64(s[i])) * 1099511628211
		}
	}
	add(r.Spec.Tag)
	add(st.Key())
	if r.Standing != nil {
		add(string(r.Standing.Kind))
	}
	return h
}

func keyOf(r *Row, by string, st state, now time.Time) sortKey {
	v := r.values()
	k := sortKey{row: r, num: math.NaN(), share: v.ShareLimit}
	switch by {
	case "", "condition":
		k.num = float64(st)
	case "tag":
		k.text = r.Spec.Tag
	case "area":
		k.text = r.Spec.Area
	case "box":
		k.text = r.Spec.Box
	case "method":
		k.text = r.Spec.Method.String()
	case "stands":
		k.text = "\uffff" // nothing stands: last
		if r.Standing != nil {
			k.text = standing(r.Standing, now)
		}
	case "limit":
		k.num = v.ShareLimit
	case "imbalance":
		k.num = math.Abs(float64(v.Imbalance))
	case "error":
		e, _, _ := counting(r)
		k.num = math.Abs(float64(e))
	case "age":
		k.num = math.Inf(1)
		if !r.Values.At.IsZero() {
			k.num = now.Sub(r.Values.At).Seconds()
		}
	default:
		if l, err := measure.ParseLead(by); err == nil {
			k.num = float64(v.Leads[l])
		}
	}
	return k
}

// compareKeys puts what is not known last in both directions, and breaks ties
// by the share of the limit when the worst come first, then by tag.
func compareKeys(a, b sortKey, q query) int {
	c := cmp.Compare(a.text, b.text)
	if c == 0 {
		c = compareNumbers(a.num, b.num, q.Desc || q.Sort == "")
	} else if q.Desc {
		c = -c
	}
	if c == 0 && (q.Sort == "" || q.Sort == "condition") {
		c = compareNumbers(a.share, b.share, true)
	}
	if c == 0 {
		c = strings.Compare(a.row.Spec.Tag, b.row.Spec.Tag)
	}
	return c
}

func compareNumbers(a, b float64, desc bool) int {
	switch ka, kb := quantity.Known(a) || math.IsInf(a, 0), quantity.Known(b) || math.IsInf(b, 0); {
	case ka && !kb:
		return -1
	case kb && !ka:
		return 1
	case !ka:
		return 0
	}
	if desc {
		return cmp.Compare(b, a)
	}
	return cmp.Compare(a, b)
}
