package drift

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// clock writes a moment in evidence.
func clock(unix int64) string { return time.Unix(unix, 0).UTC().Format("2006-01-02 15:04Z") }

// day writes a date in evidence.
func day(unix int64) string { return time.Unix(unix, 0).UTC().Format("2006-01-02") }

// moment returns the time some days after a moment.
func moment(unix int64, d float32) time.Time {
	return time.Unix(unix+int64(float64(d)*dayS), 0).UTC()
}

// say writes a sentence of evidence. A negative number gets a true minus sign;
// dates keep their hyphens.
func say(format string, a ...any) string {
	s := fmt.Sprintf(format, a...)
	if strings.Contains(s, " -") || strings.Contains(s, "(-") { // looking is much cheaper than replacing
		return minus.Replace(s)
	}
	return s
}

var minus = strings.NewReplacer(" -", " −", "(-", "(−")

// ohms writes a resistance with the digits that mean something: inputs resolve
// 1 mΩ, means of two days a tenth of it.
func ohms(x float64) string {
	text := ""
	switch a := math.Abs(x); {
	case a >= 0.9995:
		text = fmt.Sprintf("%.2f Ω", x)
	case a >= 0.09995:
		text = fmt.Sprintf("%.0f mΩ", x*1e3)
	default:
		text = fmt.Sprintf("%.1f mΩ", x*1e3)
	}
	return strings.Replace(text, "-", "−", 1)
}

// lookFor writes how long a number of blocks is.
func lookFor(blocks uint8) string {
	if blocks == otherFor {
		return "a day"
	}
	return fmt.Sprintf("%d days", int(blocks)*blockS/dayS)
}
