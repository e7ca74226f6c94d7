package main

import (
	"ohmdrift/config"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// checkJSON is what check --json prints. Numbers that are not known are null.
type checkJSON struct {
	OK       bool          `json:"ok"`
	Mistakes []mistakeJSON `json:"mistakes"`
	Warnings []mistakeJSON `json:"warnings"`
	Site     string        `json:"site,omitempty"`
	Hash     string        `json:"hash,omitempty"`
	Files    []string      `json:"files,omitempty"`
	Links    []linkJSON    `json:"links,omitempty"`
	Loops    []loopJSON    `json:"loops,omitempty"`
}

type mistakeJSON struct {
	File    string `json:"file"`
	Line    int    `json:"line"`
	Col     int    `json:"col"`
	Path    string `json:"path"`
	Problem string `json:"problem"`
	Hint    string `json:"hint"`
}

type linkJSON struct {
	Name       string  `json:"name"`
	URL        string  `json:"url"`
	SoleMaster bool    `json:"sole_master"`
	Loops      int     `json:"loops"`
	Requests   float64 `json:"requests_per_s"`
	Ceiling    float64 `json:"max_requests_per_s,omitempty"`
	Busy       float64 `json:"bus_load"` // share of the time
	LongestMs  float64 `json:"longest_request_ms"`
	FitsS      float64 `json:"shortest_interval_s"` // if all loops had the same
}

type sightJSON struct {
	How        string `json:"how"`
	Assumption string `json:"assumption,omitempty"`
}

type loopJSON struct {
	Tag       string               `json:"tag"`
	Wires     int                  `json:"wires"`
	Method    string               `json:"method"`
	Reports   string               `json:"reports"`
	Leads     map[string]sightJSON `json:"leads"`
	Imbalance sightJSON            `json:"imbalance"`
	Error     sightJSON            `json:"error"`
	SinceCal  sightJSON            `json:"error_since_calibration"`
	Element   sightJSON            `json:"element"`
	Notes     []string             `json:"notes"`
	LimitHigh *float64             `json:"limit_high_degC"`
	LimitLow  *float64             `json:"limit_low_degC"`
	LeadLimit *float64             `json:"lead_limit_ohm"`
	LeadOhm   *float64             `json:"lead_ohm"` // expected at 20 °C
	CableM    *float64             `json:"cable_m"`
	LongestM  *float64             `json:"longest_m"`
	Budget    string               `json:"budget"`
	IntervalS float64              `json:"interval_s"`
}

func newCheckJSON(p *config.Plant, ms config.Mistakes) checkJSON {
	c := checkJSON{OK: len(ms) == 0, Mistakes: mistakesJSON(ms), Warnings: []mistakeJSON{}}
	if p == nil {
		return c
	}
	c.Warnings, c.Site, c.Hash, c.Files = mistakesJSON(p.Warnings), p.Site, p.Hash, p.Files
	for _, k := range p.Links {
		c.Links = append(c.Links, linkJSON{
			Name: k.Name, URL: k.URL, SoleMaster: k.SoleMaster, Requests: k.Load.Requests, Ceiling: k.MaxRequests,
			Busy: k.Load.Busy, LongestMs: 1e3 * k.Load.Longest.Seconds(), FitsS: k.Load.Fits.Seconds(),
		})
	}
	for i := range p.Loops {
		l := &p.Loops[i]
		c.Links[l.Link].Loops++
		c.Loops = append(c.Loops, newLoopJSON(l))
	}
	return c
}

func mistakesJSON(ms config.Mistakes) []mistakeJSON {
	out := make([]mistakeJSON, len(ms))
	for i, m := range ms {
		out[i] = mistakeJSON{m.File, m.Line, m.Col, m.Path, m.Problem, m.Hint}
	}
	return out
}

func newLoopJSON(l *config.Loop) loopJSON {
	o := diagnostics.Observe(l.Spec)
	b := lengthOf(l)
	j := loopJSON{
		Tag: l.Tag, Wires: l.Wires, Method: l.Method.String(), Reports: l.Reports.String(), Leads: map[string]sightJSON{},
		Imbalance: newSightJSON(o.Imbalance), Error: newSightJSON(o.Error), SinceCal: newSightJSON(o.SinceCal), Element: newSightJSON(o.Element),
		Notes: append([]string{}, o.Notes...), LimitHigh: known(l.LimitHigh), LimitLow: known(l.LimitLow), LeadLimit: known(l.LeadLimit),
		LeadOhm: known(l.Cable20), CableM: known(l.CableM), LongestM: known(b.longest), Budget: b.why, IntervalS: l.Interval.Seconds(),
	}
	for lead := measure.A1; lead <= measure.B2; lead++ {
		if o.HasLead[lead] {
			j.Leads[lead.String()] = newSightJSON(o.Leads[lead])
		}
	}
	return j
}

func newSightJSON(s diagnostics.Sight) sightJSON {
	return sightJSON{s.Knowledge.String(), s.Assumption}
}

// known is nil, null in JSON, for what is not known.
func known[T ~float64](x T) *float64 {
	if !quantity.Known(x) {
		return nil
	}
	f := float64(x)
	return &f
}
