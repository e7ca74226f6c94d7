package records

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// Baseline is an accepted state of a loop's leads, and who answers for it.
type Baseline struct {
	Loop     string
	Leads    diagnostics.Baseline
	Proposer string
	Accepter string
	Note     string
}

const newBaseline = `
INSERT INTO baseline (loop, at_ms, ohms, proposer, accepter, note) VALUES (?, ?, ?, ?, ?, ?)`

// AcceptBaseline adds a baseline; it is in force from now on. Those before it
// stay on record.
func (s *Store) AcceptBaseline(ctx context.Context, b Baseline) error {
	ohms, err := json.Marshal(ohmsOf(b.Leads))
	if err != nil {
		return fmt.Errorf("baseline of %s: %w", b.Loop, err)
	}
	if _, err := s.write.ExecContext(ctx, newBaseline, b.Loop, b.Leads.At.UnixMilli(), string(ohms), b.Proposer, b.Accepter, b.Note); err != nil {
		return fmt.Errorf("baseline of %s: %w", b.Loop, err)
	}
	return nil
}

const baselinesInForce = `
SELECT b.loop, b.at_ms, b.ohms, b.proposer, b.accepter, b.note
FROM   baseline AS b
WHERE  b.id = (SELECT max(n.id) FROM baseline AS n WHERE n.loop = b.loop)
ORDER  BY b.loop`

// Baselines returns the baseline in force of every loop that has one.
func (s *Store) Baselines(ctx context.Context) ([]Baseline, error) {
	rows, err := s.read.QueryContext(ctx, baselinesInForce)
	if err != nil {
		return nil, fmt.Errorf("baselines: %w", err)
	}
	defer rows.Close()
	var all []Baseline
	for rows.Next() {
		var b Baseline
		var at int64
		var text string
		if err := rows.Scan(&b.Loop, &at, &text, &b.Proposer, &b.Accepter, &b.Note); err != nil {
			return nil, fmt.Errorf("baselines: %w", err)
		}
		ohms := map[string]float64{}
		if err := json.Unmarshal([]byte(text), &ohms); err != nil {
			return nil, fmt.Errorf("baseline of %s: %w", b.Loop, err)
		}
		b.Leads = leadsOf(time.UnixMilli(at).UTC(), ohms)
		all = append(all, b)
	}
	return all, rows.Err()
}

const (
	loopAKey = "loop_a"
	loopBKey = "loop_b"
)

func ohmsOf(b diagnostics.Baseline) map[string]float64 {
	ohms := map[string]float64{}
	put := func(key string, o quantity.Ohm) {
		if quantity.Known(o) {
			ohms[key] = float64(o)
		}
	}
	for l, o := range b.Leads {
		put(measure.Lead(l).String(), o)
	}
	put(loopAKey, b.LoopA)
	put(loopBKey, b.LoopB)
	return ohms
}

func leadsOf(at time.Time, ohms map[string]float64) diagnostics.Baseline {
	b := diagnostics.NoBaseline(at)
	for l := range b.Leads {
		if o, ok := ohms[measure.Lead(l).String()]; ok {
			b.Leads[l] = quantity.Ohm(o)
		}
	}
	if o, ok := ohms[loopAKey]; ok {
		b.LoopA = quantity.Ohm(o)
	}
	if o, ok := ohms[loopBKey]; ok {
		b.LoopB = quantity.Ohm(o)
	}
	return b
}
