package config

import (
	"fmt"
	"strings"

	"ohmdrift/devices"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// reports settles what the transmitter shows of its leads, and refuses what
// the wiring or the profile cannot show.
func (r *loopResolver) reports(g *given[loopDraft], l *Loop) {
	d := &g.value
	if l.Wires == 0 {
		return // reported already
	}
	if !d.reports.ok {
		l.Reports = usualReports(l)
		return
	}
	l.Reports = d.reports.value
	switch {
	case l.Wires == 2 && l.Reports != wiring.ReadingOnly:
		r.add(d.reports.at, d.reports.path, `write "reading"`, "two wires show nothing of their leads, so %s cannot be", l.Reports)
	case l.Reports == wiring.PairsOnly && l.Wires != 3:
		r.add(d.reports.at, d.reports.path, "want all-leads, loops or reading", "pairs is for three wires: b1 and b2 without a1; this loop has %d", l.Wires)
	case l.Profile != nil:
		if missing := lacks(l.Profile, l.Wires, l.Reports); missing != "" {
			r.add(d.reports.at, d.reports.path, "this profile can give "+orList(canReport(l.Profile, l.Wires)), "profile %s has no %s, as %s needs", l.Profile.Name, missing, l.Reports)
		}
	}
}

// usualReports is the most that the profile can show; without one, what the
// wires allow.
func usualReports(l *Loop) wiring.Reports {
	if l.Wires == 2 {
		return wiring.ReadingOnly
	}
	if l.Profile == nil {
		return wiring.AllLeads
	}
	for _, level := range [...]wiring.Reports{wiring.AllLeads, wiring.PairsOnly, wiring.LoopsOnly} {
		if (level != wiring.PairsOnly || l.Wires == 3) && lacks(l.Profile, l.Wires, level) == "" {
			return level
		}
	}
	return wiring.ReadingOnly
}

func canReport(p *devices.Profile, wires int) []string {
	var names []string
	for level := wiring.AllLeads; level <= wiring.ReadingOnly; level++ {
		if (level != wiring.PairsOnly || wires == 3) && lacks(p, wires, level) == "" {
			names = append(names, level.String())
		}
	}
	return names
}

// lacks names the fields that a profile would need for a report level and does
// not have; empty when it has them.
func lacks(p *devices.Profile, wires int, level wiring.Reports) string {
	has := make(map[devices.Quantity]bool, len(p.Fields))
	for i := range p.Fields {
		has[p.Fields[i].Quantity] = true
	}
	var first string
	for _, way := range waysTo(wires, level) {
		var missing []string
		for _, q := range way {
			if !has[q] {
				missing = append(missing, q.String())
			}
		}
		if len(missing) == 0 {
			return ""
		}
		if first == "" {
			first = strings.Join(missing, ", ")
		}
	}
	return first
}

// waysTo lists the sets of fields that each give a report level, the most
// direct first (facts of the circuit: package wiring shows why these suffice).
func waysTo(wires int, level wiring.Reports) [][]devices.Quantity {
	leads := make([]devices.Quantity, 0, measure.LeadCount)
	for _, l := range measure.LeadsOf(wires) {
		leads = append(leads, devices.LeadA1+devices.Quantity(l))
	}
	switch level {
	case wiring.AllLeads:
		ways := [][]devices.Quantity{leads}
		if wires == 4 {
			ways = append(ways, []devices.Quantity{devices.PairA1A2, devices.PairB1B2, devices.PairA1B1, devices.PairA1B2, devices.PairA2B1})
		}
		return ways
	case wiring.PairsOnly:
		return [][]devices.Quantity{{devices.LeadB1, devices.LeadB2}, {devices.PairA1B1, devices.PairA1B2, devices.PairB1B2}}
	case wiring.LoopsOnly:
		if wires == 3 {
			return [][]devices.Quantity{{devices.LoopB}, {devices.PairB1B2}, {devices.LeadB1, devices.LeadB2}}
		}
		return [][]devices.Quantity{{devices.LoopA, devices.LoopB}, {devices.PairA1A2, devices.PairB1B2}, leads}
	}
	return [][]devices.Quantity{{devices.ReadingDegC}, {devices.SensorOhm}}
}

// describe names a field in messages: quantity and both register numbers.
func describe(p *devices.Profile, f *devices.Field) string {
	return fmt.Sprintf("%s at register %s", f.Quantity, registerName(p, f.Addr))
}
