package records

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// columns of an event with the finding it belongs to, in the order of scan.
const columns = `
SELECT f.loop, f.kind, f.box, e.state, e.time_ms, e.leads, e.severity, e.since_ms, e.contact_ohm, e.error_degC,
       e.u_degC, e.p_over_limit, e.confidence, e.forecast, e.loops, e.engine, e.evidence`

// openFindings: worst first, oldest first among equals; served by index
// finding_open.
const openFindings = columns + `
FROM   finding f JOIN finding_event e ON e.id = f.event
WHERE  f.cleared_ms IS NULL
ORDER  BY e.severity DESC, e.since_ms, f.id`

// OpenFindings returns what is open now, each as last said, worst first.
func (s *Store) OpenFindings(ctx context.Context) ([]finding.Finding, error) {
	return s.findings(ctx, "open findings", openFindings)
}

// eventsOfLoop is served by indexes finding_loop and finding_event_of.
const eventsOfLoop = columns + `
FROM   finding f JOIN finding_event e ON e.finding = f.id
WHERE  f.loop = ?
ORDER  BY e.id`

// Events returns all that was ever said about a loop's findings, oldest first.
func (s *Store) Events(ctx context.Context, loop string) ([]finding.Finding, error) {
	return s.findings(ctx, "findings of "+loop, eventsOfLoop, loop)
}

func (s *Store) findings(ctx context.Context, what, query string, args ...any) ([]finding.Finding, error) {
	rows, err := s.read.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", what, err)
	}
	defer rows.Close()
	var fs []finding.Finding
	for rows.Next() {
		f, err := scan(rows)
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", what, err)
		}
		fs = append(fs, f)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("read %s: %w", what, err)
	}
	return fs, nil
}

func scan(rows *sql.Rows) (finding.Finding, error) {
	var f finding.Finding
	var kind, names string
	var at, since sql.NullInt64
	var contact, failure, u, p sql.NullFloat64
	var forecast, members sql.NullString
	err := rows.Scan(&f.Loop, &kind, &f.Box, &f.State, &at, &names, &f.Severity, &since, &contact, &failure,
		&u, &p, &f.Confidence, &forecast, &members, &f.Engine, &f.Evidence)
	if err != nil {
		return f, err
	}
	f.Kind, f.Time, f.Since = finding.Kind(kind), fromMillis(at), fromMillis(since)
	f.Contact, f.Error = quantity.Ohm(orNaN(contact)), quantity.DeltaC(orNaN(failure))
	f.U, f.POverLimit = quantity.DeltaC(orNaN(u)), orNaN(p)
	for _, n := range strings.Fields(names) {
		l, err := measure.ParseLead(n)
		if err != nil {
			return f, err
		}
		f.Leads |= finding.LeadsOf(l)
	}
	if members.Valid {
		err = json.Unmarshal([]byte(members.String), &f.Loops)
	}
	if forecast.Valid {
		f.Forecast, err = forecastFrom(forecast.String, err)
	}
	return f, err
}

// forecastFrom reads the JSON form of the replay contract back.
func forecastFrom(text string, before error) (*finding.Forecast, error) {
	var j struct {
		State finding.ForecastState `json:"state"`
		Limit struct {
			Quantity finding.LimitQuantity `json:"quantity"`
			Value    float64               `json:"value"`
			Unit     string                `json:"unit"`
		} `json:"limit"`
		P10, P50, P90 time.Time
		Why           string
	}
	err := json.Unmarshal([]byte(text), &j)
	return &finding.Forecast{
		State: j.State, Quantity: j.Limit.Quantity, Value: j.Limit.Value, Unit: j.Limit.Unit,
		P10: j.P10, P50: j.P50, P90: j.P90, Why: j.Why,
	}, errors.Join(before, err)
}

func orNaN(n sql.NullFloat64) float64 {
	if !n.Valid {
		return math.NaN()
	}
	return n.Float64
}

// number is a float column; NULL for what is not known.
func number(x float64) sql.NullFloat64 {
	return sql.NullFloat64{Float64: x, Valid: !math.IsNaN(x) && !math.IsInf(x, 0)}
}

func jsonText(there bool, v any) (sql.NullString, error) {
	if !there {
		return sql.NullString{}, nil
	}
	b, err := json.Marshal(v)
	return sql.NullString{String: string(b), Valid: true}, err
}
