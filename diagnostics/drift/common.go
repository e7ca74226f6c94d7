package drift

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
)

// Common cause: loops that share an enclosure or a cable and go bad together.
//
// The question is how likely that is by accident. Given that one loop of a group
// of n went bad, each of the other n − 1 does so by itself within the next w
// with p = 1 − exp(−λ·w); the chance that k − 1 or more of them do is
//
//	q = Σ_{j ≥ k−1} C(n−1, j) p^j (1 − p)^(n−1−j)
//
// Against it stands commonShare, the share of first failures that are the first
// of a common cause. A finding is raised where q is a twentieth of it: 95 % sure.
// At one fault in ten loop-years two loops of a box of five must follow each
// other within two days, three of six within togetherS; two of a cabinet of sixty
// never suffice.
//
// λ, how often a loop of this plant goes bad by itself, is learnt from the plant:
// in one where every second loop goes bad within a year, three of one box within
// a month are no wonder. Before much was seen it is the assumption (the mean of a
// gamma distribution, its conjugate prior).
const (
	// priorFaults in priorYears: one fault in ten loop-years. Our assumption, on
	// the high side: a chance is rather overstated.
	priorFaults, priorYears = 1, 10
	yearS                   = 365.25 * dayS
	// anewS: a loop that is bad again after a shorter time has the same fault.
	anewS = 30 * dayS
	// markMost is the longest time between marks that counts as followed.
	markMost = dayS
	// commonShare: reliability practice counts 1 to 10 % of failures as common
	// cause where equal parts share a place (the beta factor of IEC 61508-6, from
	// memory).
	commonShare = 0.05
	// mostChance is q from which accident is no explanation: odds of twenty to one.
	mostChance = commonShare / 20
	// onsetS is how well an onset is known: levels are medians of two days.
	onsetS = 2 * dayS
	// togetherS is how far onsets of one cause can lie apart: what gets into a box
	// gets to all within days, but contacts do not grow alike, and an onset is
	// read from when each left its own baseline.
	togetherS = 21 * dayS
	// stepsS is how far steps of one cause can lie apart: a step comes by work or by
	// a blow, to all at once, and is dated to six hours. What gets into a box works
	// slowly, so steps are joined with steps alone.
	stepsS = dayS
	// drySpell is how long fewer than two must be bad before a common cause counts
	// as gone: contacts of a wet box recover between two rains.
	drySpell = 7 * dayS
	// leastLoops make a common cause.
	leastLoops = 2
	// namedMost is how many loops evidence spells out.
	namedMost = 8
)

// group is what several loops pass through.
type group struct {
	what   string // junction box, cable, marshalling cabinet
	name   string
	loops  []int // sorted by tag
	common common
}

// common is what stands about a group.
type common struct {
	Standing bool
	First    int   // loop whose tag the finding carries until it is cleared
	Since    int64 // earliest onset, s
	Last     int64 // latest onset of a member, s
	Few      int64 // since when fewer than two are bad, s; 0 = more are
	Raised   int64
	Updated  int64
	Members  []int // loops that were part of it, by tag; who recovers stays until all is cleared, so that it is cleared for everyone who was told
	Told     int   // members when it was last told
	Steps    bool  // it is of loops that stepped
}

// spread is how far onsets of one cause can lie apart, s.
func spread(steps bool) int64 {
	if steps {
		return stepsS
	}
	return togetherS
}

// groupsOf returns the groups of two loops and more: boxes, cables, cabinets.
func groupsOf(loops []*diagnostics.Spec) []group {
	var all []group
	for _, sort := range []struct {
		what string
		name func(*diagnostics.Spec) string
	}{
		{"junction box", func(l *diagnostics.Spec) string { return l.Box }},
		{"cable", func(l *diagnostics.Spec) string { return l.Cable }},
		{"marshalling cabinet", func(l *diagnostics.Spec) string { return l.Cabinet }},
	} {
		index := map[[3]string]int{}
		from := len(all)
		for i, l := range loops {
			name := sort.name(l)
			if name == "" {
				continue
			}
			key := [3]string{l.Site, l.Area, name}
			if _, ok := index[key]; !ok {
				index[key] = len(all)
				all = append(all, group{what: sort.what, name: name})
			}
			g := &all[index[key]]
			g.loops = append(g.loops, i)
		}
		kept := slices.DeleteFunc(all[from:], func(g group) bool { return len(g.loops) < leastLoops })
		all = all[:from+len(kept)]
		for i := range kept {
			slices.SortFunc(kept[i].loops, func(a, b int) int { return strings.Compare(loops[a].Tag, loops[b].Tag) })
		}
		slices.SortFunc(kept, func(a, b group) int {
			return cmp.Or(strings.Compare(a.name, b.name), strings.Compare(loops[a.loops[0]].Tag, loops[b.loops[0]].Tag))
		})
	}
	return all
}

// rate returns how often a loop goes bad by itself, per s, by all faults but some
// that are in question.
func (s *Site) rate(but int) float64 {
	return (priorFaults + max(s.faults-float64(but), 0)) / (priorYears*yearS + s.followed)
}

// count adds what happened since the last mark to what the rate is learnt from.
func (s *Site) count(now, since int64) {
	n := 0
	for i := range s.put {
		p := &s.put[i]
		if s.bad(i) {
			if now-s.wasBad[i] > anewS {
				s.faults++
			}
			s.wasBad[i] = now
		} else if math.IsNaN(p.Factor) {
			continue // nothing is known of it
		}
		n++
	}
	s.followed += float64(n) * float64(min(now-since, markMost))
}

// cluster is loops of one group whose onsets lie close together, earliest first.
type cluster struct {
	group  int
	loops  []int
	chance float64 // that they are independent
}

// together looks for loops that went bad together. A loop is part of one common
// cause at most: the least accidental one takes it.
func (s *Site) together(at time.Time, out []finding.Finding) []finding.Finding {
	now := at.Unix()
	taken := map[int]bool{}
	for i := range s.groups {
		out = s.follow(&s.groups[i], now, taken, out)
	}
	for {
		best := cluster{group: -1, chance: mostChance}
		for i := range s.groups {
			if !s.groups[i].common.Standing {
				s.closest(i, taken, false, &best)
				s.closest(i, taken, true, &best)
			}
		}
		if best.group < 0 {
			return out
		}
		for _, l := range best.loops {
			taken[l] = true
		}
		g := &s.groups[best.group]
		g.common = common{Standing: true, First: best.loops[0], Since: s.onset(best.loops[0]), Last: s.onset(best.loops[len(best.loops)-1]), Raised: now, Members: best.loops, Steps: s.stepped(best.loops[0])}
		s.faults -= float64(len(best.loops) - 1) // one fault, not several
		s.sortByTag(g.common.Members)
		out = s.tell(g, now, finding.Raised, out)
	}
}

// onset returns when a loop went bad, s.
func (s *Site) onset(loop int) int64 { return s.put[loop].Since.Unix() }

// still counts the members that are bad now.
func (s *Site) still(c *common) int {
	n := 0
	for _, m := range c.Members {
		if s.bad(m) {
			n++
		}
	}
	return n
}

// bad tells whether a loop has something that an enclosure can do to it. What
// gets into a box makes contacts worse; it makes no thermocouple of two metals.
func (s *Site) bad(loop int) bool {
	p := &s.put[loop]
	return p.Kind != "" && p.Kind != finding.ThermalEMF && !p.Since.IsZero()
}

// stepped tells whether a loop that is bad stepped.
func (s *Site) stepped(loop int) bool { return s.put[loop].Kind == finding.LeadStep }

func (s *Site) sortByTag(loops []int) {
	slices.SortFunc(loops, func(a, b int) int { return strings.Compare(s.loops[a].Tag, s.loops[b].Tag) })
}

// follow lets loops join what stands about a group, and ends it when fewer than
// two were bad for drySpell: one bad loop is no common cause.
func (s *Site) follow(g *group, now int64, taken map[int]bool, out []finding.Finding) []finding.Finding {
	c := &g.common
	if !c.Standing {
		return out
	}
	if slices.ContainsFunc(c.Members, func(m int) bool { return s.bad(m) && !s.stepped(m) }) {
		c.Steps = false // steps that grow are like any others
	}
	for _, l := range g.loops {
		t := s.onset(l)
		if !s.bad(l) || s.stepped(l) != c.Steps || t < c.Since-spread(c.Steps) || t > c.Last+spread(c.Steps) {
			continue
		}
		if !slices.Contains(c.Members, l) {
			c.Members = append(c.Members, l)
			c.Since = min(c.Since, t)
			s.faults--
		}
		c.Last = max(c.Last, t)
	}
	switch still := s.still(c); {
	case still >= leastLoops:
		c.Few = 0
	case c.Few == 0:
		c.Few = now
	case now-c.Few >= drySpell:
		out = s.tell(g, now, finding.Cleared, out)
		*c = common{}
		return out
	}
	s.sortByTag(c.Members)
	for _, m := range c.Members {
		taken[m] = true
	}
	if len(c.Members) > c.Told && now-c.Updated >= updateEvery {
		out = s.tell(g, now, finding.Updated, out)
	}
	return out
}

// closest puts the least accidental cluster of a group into best, if it beats
// what is there: of the loops that stepped, or of the others.
func (s *Site) closest(i int, taken map[int]bool, steps bool, best *cluster) {
	g := &s.groups[i]
	s.gone = s.gone[:0]
	for _, l := range g.loops {
		if s.bad(l) && !s.put[l].Rests && !taken[l] && s.stepped(l) == steps {
			s.gone = append(s.gone, l)
		}
	}
	if len(s.gone) < leastLoops {
		return
	}
	slices.SortStableFunc(s.gone, func(a, b int) int { return cmp.Compare(s.onset(a), s.onset(b)) })
	for a := range s.gone {
		for b := a + leastLoops - 1; b < len(s.gone); b++ {
			w := s.onset(s.gone[b]) - s.onset(s.gone[a])
			if w > spread(steps) {
				break
			}
			if q := chance(s.rate(b-a+1), len(g.loops), b-a+1, w); q < best.chance {
				*best = cluster{i, slices.Clone(s.gone[a : b+1]), q}
			}
		}
	}
}

// chance returns the probability that of n loops, one of which went bad, k − 1
// or more others do so within w seconds by themselves, each at the rate per s.
func chance(rate float64, n, k int, w int64) float64 {
	p := -math.Expm1(-rate * float64(max(w, onsetS)))
	choose := func(n, k int) float64 {
		a, _ := math.Lgamma(float64(n + 1))
		b, _ := math.Lgamma(float64(k + 1))
		c, _ := math.Lgamma(float64(n - k + 1))
		return a - b - c
	}
	sum := 0.0
	for j := k - 1; j <= n-1; j++ {
		sum += math.Exp(choose(n-1, j) + float64(j)*math.Log(p) + float64(n-1-j)*math.Log1p(-p))
	}
	return min(sum, 1)
}

// tell dresses what stands about a group. Its severity is maintenance whatever
// its members suffer: a loop does not leave its own limit because its neighbour
// does, and each member has a finding of its own.
func (s *Site) tell(g *group, now int64, state finding.State, out []finding.Finding) []finding.Finding {
	c := &g.common
	c.Told, c.Updated = len(c.Members), now
	f := finding.Finding{
		Time: time.Unix(now, 0).UTC(), Loop: s.loops[c.First].Tag, Kind: finding.BoxCommonCause, State: state, Severity: finding.Maintenance,
		Since: time.Unix(c.Since, 0).UTC(), Contact: quantity.Ohm(math.NaN()), Error: quantity.DeltaC(math.NaN()), U: quantity.DeltaC(math.NaN()),
		POverLimit: math.NaN(), Box: g.name, Engine: Version,
	}
	first, last, words := int64(math.MaxInt64), int64(math.MinInt64), []string{}
	still := 0
	for _, m := range c.Members {
		p := &s.put[m]
		f.Loops = append(f.Loops, s.loops[m].Tag)
		if !s.bad(m) {
			continue
		}
		still++
		first, last = min(first, s.onset(m)), max(last, s.onset(m))
		if !(p.Contact <= f.Contact) && !math.IsNaN(float64(p.Contact)) {
			f.Contact = p.Contact
		}
		words = append(words, fmt.Sprintf("%s %s since %s", s.loops[m].Tag, p.Kind, day(s.onset(m))))
	}
	if state == finding.Cleared {
		f.Confidence = 1
		f.Evidence = fmt.Sprintf("of the %d loops of %s %s that went bad together %d is left", len(c.Members), g.what, g.name, still)
		return append(out, f)
	}
	q := chance(s.rate(1), len(g.loops), still, last-first) // together they count as one
	f.Confidence = commonShare / (commonShare + q)
	if len(words) > namedMost {
		words = append(words[:namedMost], fmt.Sprintf("and %d more", len(words)-namedMost))
	}
	f.Evidence = fmt.Sprintf("%d of %d loops of %s %s went bad within %.1f days (%s); at the %.2f faults a loop-year seen in this plant, chance alone would do that once in %s cases",
		still, len(g.loops), g.what, g.name, float64(last-first)/dayS, strings.Join(words, ", "), s.rate(1)*yearS, rarely(q))
	return append(out, f)
}

// rarely writes 1/q to two digits.
func rarely(q float64) string {
	if q < 1e-6 {
		return "over a million"
	}
	x := 1 / q
	d := math.Pow(10, math.Floor(math.Log10(x))-1)
	return fmt.Sprintf("%.0f", math.Round(x/d)*d)
}
