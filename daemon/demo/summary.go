package demo

import "ohmdrift/diagnostics/finding"

// Summary is what a demo did, each number counted where it happens.
type Summary struct {
	Loops        int       `json:"loops"`         // in the plant
	Polls        uint64    `json:"polls"`         // delivered by the poller
	Good         uint64    `json:"good"`          // of these, of good quality
	StoredValues uint64    `json:"stored_values"` // written to the embedded history, the recorded past included
	PointsSent   uint64    `json:"points_sent"`   // that the server took
	Findings     []Finding `json:"findings"`      // what stands at the end, worst first
}

// Finding is one line of the summary.
type Finding struct {
	Loop  string   `json:"loop"`
	Kind  string   `json:"kind"`
	Leads []string `json:"leads"`
}

func (d *demo) summary() Summary {
	c := d.daemon.Counts()
	s := Summary{Loops: len(d.config.Loops), Polls: c.Polls, Good: c.Good, StoredValues: c.StoredValues, PointsSent: c.PointsSent, Findings: []Finding{}}
	for _, f := range d.daemon.Standing() {
		if f.Severity > finding.Info {
			s.Findings = append(s.Findings, Finding{f.Loop, string(f.Kind), f.Leads.Names()})
		}
	}
	return s
}
