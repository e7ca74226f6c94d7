package web

import (
	"net/url"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func tags(v view) (tags []string) {
	for _, r := range v.rows {
		tags = append(tags, r.Spec.Tag)
	}
	return tags
}

func lookAt(p *plant, address string) view {
	u, err := url.Parse(address)
	if err != nil {
		panic(err)
	}
	o := p.Overview()
	return look(&o, parseQuery(u.Query()), noon)
}

func TestWorstFirst(t *testing.T) {
	got := tags(lookAt(larkfield(15, noon), "/"))
	// failure, not known (no answer, never polled), function check, out of specification, maintenance by share, good by share
	want := []string{"TT-1103", "TT-1108", "TT-1104", "TT-1111", "TT-1106", "TT-1101", "TT-1113"}
	if !slices.Equal(got[:7], want) {
		t.Errorf("got %v, want %v", got[:7], want)
	}
}

func TestSortAndFilter(t *testing.T) {
	p := larkfield(15, noon)
	tests := []struct {
		address string
		want    []string // the first rows
		matched int
	}{
		{"/?sort=tag", []string{"TT-1101", "TT-1102"}, 15},
		{"/?sort=tag&dir=desc", []string{"TT-1115", "TT-1114"}, 15},
		{"/?sort=error&dir=desc", []string{"TT-1106", "TT-1101"}, 15},
		{"/?sort=age&dir=desc", []string{"TT-1104", "TT-1108"}, 15},
		{"/?sort=nonsense&dir=desc", []string{"TT-1103", "TT-1108"}, 15},
		{"/?q=jb-22", []string{"TT-1104", "TT-1112"}, 2},
		{"/?q=contact+grows", []string{"TT-1101"}, 1},
		{"/?area=Recovery", []string{"TT-1113", "TT-1105"}, 2},
		{"/?condition=maintenance", []string{"TT-1101", "TT-1113"}, 2},
		{"/?q=nothing+like+it", nil, 0},
	}
	for _, c := range tests {
		v := lookAt(p, c.address)
		if got := tags(v); !slices.Equal(got[:min(len(got), len(c.want))], c.want) || v.matched != c.matched {
			t.Errorf("%s: got %v of %d, want %v of %d", c.address, got, v.matched, c.want, c.matched)
		}
	}
}

// What is not known comes last whichever way the table is sorted, and every loop
// is on exactly one page.
func TestEveryOrderKeepsEveryLoop(t *testing.T) {
	p := larkfield(2*pageRows+7, noon)
	rapid.Check(t, func(t *rapid.T) {
		q := query{Sort: rapid.SampledFrom(columns()).Draw(t, "column").Key, Desc: rapid.Bool().Draw(t, "desc")}
		seen := map[string]bool{}
		unknown := false
		for q.Page = 1; q.Page <= 3; q.Page++ {
			o := p.Overview()
			for _, r := range look(&o, q, noon).rows {
				seen[r.Spec.Tag] = true
				v := r.values()
				none := v.Imbalance != v.Imbalance
				if q.Sort == "imbalance" && unknown && !none {
					t.Fatalf("%s is known but stands after unknown ones", r.Spec.Tag)
				}
				unknown = unknown || none
			}
		}
		if len(seen) != len(p.loops) {
			t.Fatalf("%d of %d loops on the pages", len(seen), len(p.loops))
		}
	})
}

func TestAddressBringsTheQueryBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := query{
			Sort: "error", Desc: rapid.Bool().Draw(t, "desc"), Text: rapid.StringMatching(`[a-z&=?#%+" ]*[a-z]`).Draw(t, "text"),
			Area: rapid.String().Draw(t, "area"), Page: rapid.IntRange(1, 9).Draw(t, "page"),
		}
		q.Text = parseQuery(url.Values{"q": {q.Text}}).Text
		u, err := url.Parse(q.address())
		if err != nil {
			t.Fatal(err)
		}
		if got := parseQuery(u.Query()); got != q {
			t.Fatalf("got %+v, want %+v", got, q)
		}
	})
}

// Numbers that move do not make rows change places under the reader's eyes; a
// state that changes does at once.
func TestOrderHoldsWhileNumbersMove(t *testing.T) {
	p := larkfield(15, noon)
	s := &overviewStream{server: New(p, quiet()), query: query{Page: 1}}
	at := func(d time.Duration) []string {
		h := &hub{src: p}
		if _, ok := s.next(h.tick(noon.Add(d))); !ok {
			t.Fatal("the table has no frame")
		}
		return slices.Clone(s.shown)
	}
	first := at(0)
	p.change("TT-1112", func(l *Loop) { l.Values.ShareLimit = 0.4 })
	if got := at(time.Second); !slices.Equal(got, first) {
		t.Errorf("order changed with a number: %v, was %v", got, first)
	}
	p.change("TT-1112", func(l *Loop) { degrade(l, 2, 0.19, noon) })
	if got := at(2 * time.Second); got[5] != "TT-1112" {
		t.Errorf("a loop whose state changed did not move: %v", got)
	}
	before := at(3 * time.Second)
	p.change("TT-1107", func(l *Loop) { l.Values.ShareLimit = 0.45 })
	if got := at(4 * time.Second); !slices.Equal(got, before) {
		t.Errorf("order changed with a number: %v, was %v", got, before)
	}
	if got := at(2*time.Second + reorderAfter); slices.Index(got, "TT-1107") > slices.Index(got, "TT-1102") {
		t.Errorf("order was never brought up to date: %v", got)
	}
}
