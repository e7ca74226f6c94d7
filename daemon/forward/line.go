package forward

import (
	"math"
	"strconv"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
)

const measurement = "rtd"

var leadFields = [measure.LeadCount]string{"a1_ohm", "a2_ohm", "b1_ohm", "b2_ohm"}

// appendPoint adds one line for a poll slot. Either of a and s may be nil.
func appendPoint(b []byte, site, area, tag string, a *diagnostics.Assessment, s *measure.Sample) []byte {
	b = append(b, measurement...)
	b = appendTag(b, ",area=", area)
	b = appendTag(b, ",loop=", tag)
	b = appendTag(b, ",site=", site)
	b = append(b, ' ')
	f := fields{b}
	var at time.Time
	if s != nil {
		at = s.At
		f.sample(s, a == nil)
	}
	if a != nil {
		at = a.At
		f.assessment(a)
	}
	b = append(f.b, ' ')
	b = strconv.AppendInt(b, at.Unix(), 10)
	return append(b, '\n')
}

// fields appends name=value pairs. The quality comes last and is always there,
// so every pair before it ends in a comma.
type fields struct{ b []byte }

func (f *fields) add(name string, v float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return // the line format has no such number
	}
	f.b = append(f.b, name...)
	f.b = append(f.b, '=')
	f.b = strconv.AppendFloat(f.b, v, 'g', -1, 64)
	f.b = append(f.b, ',')
}

func (f *fields) quality(q measure.Quality) {
	f.b = append(f.b, "quality="...)
	f.b = strconv.AppendInt(f.b, int64(q), 10) // without a suffix it is a float
}

func (f *fields) leads(ls *measure.Leads) {
	for i, o := range ls {
		f.add(leadFields[i], float64(o))
	}
}

// sample adds what was reported; alone also what an assessment would say.
func (f *fields) sample(s *measure.Sample, alone bool) {
	f.add("loop_a_ohm", float64(s.LoopA))
	f.add("loop_b_ohm", float64(s.LoopB))
	f.add("device_temp_degC", float64(s.DeviceTemp))
	if alone {
		f.leads(&s.Leads)
		f.add("sensor_ohm", float64(s.Sensor))
		f.add("reading_degC", float64(s.Reading))
		f.quality(s.Quality)
	}
}

func (f *fields) assessment(a *diagnostics.Assessment) {
	f.leads(&a.Leads)
	f.add("sensor_ohm", float64(a.Sensor))
	f.add("reading_degC", float64(a.Reading))
	f.add("imbalance_ohm", float64(a.Imbalance))
	f.add("spread", a.Spread)
	f.add("error_degC", float64(a.Error))
	f.add("u_degC", float64(a.U))
	f.add("since_cal_degC", float64(a.SinceCal))
	f.add("u_since_cal_degC", float64(a.USinceCal))
	f.add("corrected_degC", float64(a.Corrected))
	f.add("tolerance_degC", float64(a.Tolerance))
	f.add("share_tolerance", a.ShareTolerance)
	f.add("share_limit", a.ShareLimit)
	f.add("p_over_limit", a.POverLimit)
	f.quality(a.Quality)
}

// noValue stands where the plant has no site or area: the line format has no
// empty tag, and a tag that is missing now and then splits a series in two.
const noValue = "-"

func appendTag(b []byte, key, v string) []byte {
	b = append(b, key...)
	if v == "" {
		v = noValue
	}
	for i := 0; i < len(v); i++ {
		switch c := v[i]; {
		case c == ' ' || c == ',' || c == '=':
			b = append(b, '\\', c)
		case c == '\\':
			b = append(b, '/')
		case c < ' ' || c == 0x7f:
			b = append(b, '_')
		default:
			b = append(b, c)
		}
	}
	return b
}
