package replay

import "time"

// stamp is a moment as seconds and nanoseconds since 1970.
type stamp struct {
	sec  int64
	nsec int32
}

func (s stamp) time() time.Time { return time.Unix(s.sec, int64(s.nsec)).UTC() }

func (s stamp) before(o stamp) bool { return s.sec < o.sec || s.sec == o.sec && s.nsec < o.nsec }

// shape of the usual form, RFC 3339 in UTC without a fraction.
const usual = "2006-01-02T15:04:05Z"

// readStamp reads an RFC 3339 time, of 1970 to 2200. The usual form is read here,
// everything else by package time.
func readStamp(b []byte) (stamp, bool) {
	if len(b) == len(usual) && b[4] == '-' && b[7] == '-' && b[10] == 'T' && b[13] == ':' && b[16] == ':' && b[19] == 'Z' {
		year := pair(b[0:])*100 + pair(b[2:])
		month, day := pair(b[5:]), pair(b[8:])
		h, m, s := pair(b[11:]), pair(b[14:]), pair(b[17:])
		if year >= 1970 && year <= 2200 && month >= 1 && month <= 12 && day >= 1 && day <= daysIn(year, month) &&
			uint(h) < 24 && uint(m) < 60 && uint(s) < 60 {
			return stamp{sec: daysBefore(year, month, day)*86400 + int64(h*3600+m*60+s)}, true
		}
	}
	t, err := time.Parse(time.RFC3339, string(b))
	if err != nil || t.UTC().Year() < 1970 || t.UTC().Year() > 2200 {
		return stamp{}, false
	}
	return stamp{t.Unix(), int32(t.Nanosecond())}, true
}

// pair reads two digits; what is no digit gives a number out of every range.
func pair(b []byte) int {
	hi, lo := b[0]-'0', b[1]-'0'
	if hi > 9 || lo > 9 {
		return -10000
	}
	return int(hi)*10 + int(lo)
}

func leap(year int) bool { return year%4 == 0 && (year%100 != 0 || year%400 == 0) }

func daysIn(year, month int) int {
	switch month {
	case 2:
		if leap(year) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}

// daysBefore returns the days from 1970-01-01 to a date of the Gregorian
// calendar, years counted from March so that the leap day is the last.
func daysBefore(year, month, day int) int64 {
	if month <= 2 {
		year--
		month += 12
	}
	era := year / 400
	of := year - era*400
	doy := (153*(month-3)+2)/5 + day - 1
	return int64(era*146097+of*365+of/4-of/100+doy) - 719468
}
