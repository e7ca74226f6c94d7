package drift

import "time"

// clock writes a moment in evidence.
func clock(unix int64) string { return time.Unix(unix, 0).UTC().Format("2006-01-02 15:04Z") }

// day writes a date in evidence.
func day(unix int64) string { return time.Unix(unix, 0).UTC().Format("2006-01-02") }

// moment returns the time some days after a moment.
func moment(unix int64, d float32) time.Time {
	return time.Unix(unix+int64(float64(d)*dayS), 0).UTC()
}
