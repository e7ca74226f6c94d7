package finding

import (
	"encoding/json"
	"math"
	"time"
)

type findingJSON struct {
	Type       string    `json:"type"`
	Time       string    `json:"time"`
	Loop       string    `json:"loop"`
	Kind       Kind      `json:"kind"`
	Leads      []string  `json:"leads"`
	State      string    `json:"state"`
	Severity   string    `json:"severity"`
	Since      *string   `json:"since"`
	ContactOhm *float64  `json:"contact_ohm"`
	ErrorDegC  *float64  `json:"error_degC"`
	UDegC      *float64  `json:"u_degC"`
	POverLimit *float64  `json:"p_over_limit"`
	Confidence float64   `json:"confidence"`
	Forecast   *Forecast `json:"forecast"`
	Box        *string   `json:"box"`
	Loops      []string  `json:"loops"`
	Engine     string    `json:"engine"`
	Evidence   string    `json:"evidence"`
}

// MarshalJSON writes the finding as one object of the replay contract; unknown
// numbers are null.
func (f Finding) MarshalJSON() ([]byte, error) {
	return json.Marshal(findingJSON{
		Type: "finding", Time: f.Time.UTC().Format(time.RFC3339), Loop: f.Loop, Kind: f.Kind, Leads: f.Leads.Names(),
		State: f.State.String(), Severity: f.Severity.String(), Since: stamp(f.Since),
		ContactOhm: rounded(float64(f.Contact), 5), ErrorDegC: rounded(float64(f.Error), 5), UDegC: rounded(float64(f.U), 5),
		POverLimit: rounded(f.POverLimit, 4), Confidence: math.Round(f.Confidence*1e4) / 1e4, Forecast: f.Forecast,
		Box: text(f.Box), Loops: f.Loops, Engine: f.Engine, Evidence: f.Evidence,
	})
}

type limitJSON struct {
	Quantity LimitQuantity `json:"quantity"`
	Value    float64       `json:"value"`
	Unit     string        `json:"unit"`
}

type forecastJSON struct {
	State ForecastState `json:"state"`
	Limit limitJSON     `json:"limit"`
	P10   *string       `json:"p10"`
	P50   *string       `json:"p50"`
	P90   *string       `json:"p90"`
	Why   string        `json:"why"`
}

// MarshalJSON writes the forecast of the replay contract; null for never.
func (f Forecast) MarshalJSON() ([]byte, error) {
	return json.Marshal(forecastJSON{
		State: f.State, Limit: limitJSON{f.Quantity, f.Value, f.Unit},
		P10: stamp(f.P10), P50: stamp(f.P50), P90: stamp(f.P90), Why: f.Why,
	})
}

func stamp(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	s := t.UTC().Format(time.RFC3339)
	return &s
}

func text(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// rounded cuts noise digits; nil for NaN and infinities, which JSON lacks.
func rounded(x float64, digits int) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	p := math.Pow10(digits)
	x = math.Round(x*p) / p
	return &x
}
