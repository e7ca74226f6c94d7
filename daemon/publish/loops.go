package publish

import (
	"iter"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// Loop is the newest state of one loop.
type Loop struct {
	Tag, Site, Area string
	Polled          time.Time // slot of the last poll; zero = never
	Interval        time.Duration
	Quality         measure.Quality // of the last poll
	Values          *diagnostics.Assessment
	Contact         measure.Leads // beyond copper, Ω; NaN = not known
	Condition       diagnostics.Condition
	Findings        int // open ones
}

// staleAfter is the age beyond which nothing is shown: older than 3 intervals
// and 30 s.
func (l *Loop) staleAfter() time.Duration { return max(3*l.Interval, 30*time.Second) }

// qualityAt is the quality as of now: silence makes any value stale.
func (l *Loop) qualityAt(now time.Time) measure.Quality {
	if now.Sub(l.Polled) > l.staleAfter() { // never polled is longest ago
		return measure.Stale
	}
	return l.Quality
}

var loopLabels = []string{"site", "area", "loop"}

func loopDesc(name, help string, more ...string) *prometheus.Desc {
	return prometheus.NewDesc("ohmdrift_loop_"+name, help, append(loopLabels[:len(loopLabels):len(loopLabels)], more...), nil)
}

// loops collects the values of every loop.
type loops struct {
	list iter.Seq[Loop]

	quality, age, condition, findings *prometheus.Desc
	lead, contact                     *prometheus.Desc
	values                            []loopValue
}

// loopValue is one number of an assessment.
type loopValue struct {
	desc *prometheus.Desc
	of   func(*diagnostics.Assessment) float64
}

// Loops collects the newest values of the loops that list yields at a scrape.
func Loops(list iter.Seq[Loop]) prometheus.Collector {
	type a = diagnostics.Assessment
	return &loops{
		list:      list,
		quality:   loopDesc("quality", "0 good, 1 late, 2 stale, 3 comms, 4 device, 5 configuration, 6 invalid value, 7 out of range, 8 frozen, 9 skewed."),
		age:       loopDesc("age_seconds", "Age of the last poll; absent when never polled."),
		condition: loopDesc("condition", "NE 107 category: 0 good, 1 maintenance required, 2 out of specification, 3 function check, 4 failure."),
		findings:  loopDesc("findings", "Open findings."),
		lead:      loopDesc("lead_ohm", "Resistance of each lead.", "lead"),
		contact:   loopDesc("contact_ohm", "Resistance of each lead beyond its copper.", "lead"),
		values: []loopValue{
			{loopDesc("reading_degC", "Temperature as indicated."), func(x *a) float64 { return float64(x.Reading) }},
			{loopDesc("imbalance_ohm", "Lead difference left in the reading, signed."), func(x *a) float64 { return float64(x.Imbalance) }},
			{loopDesc("error_degC", "Reading error from the leads alone, indicated − true."), func(x *a) float64 { return float64(x.Error) }},
			{loopDesc("u_degC", "Expanded uncertainty of error_degC, about 95 %."), func(x *a) float64 { return float64(x.U) }},
			{loopDesc("since_cal_degC", "Reading error since calibration."), func(x *a) float64 { return float64(x.SinceCal) }},
			{loopDesc("share_limit", "Share of the loop's error limit that the error takes."), func(x *a) float64 { return x.ShareLimit }},
			{loopDesc("p_over_limit", "Probability that the error is over its limit."), func(x *a) float64 { return x.POverLimit }},
		},
	}
}

// Describe is prometheus.Collector.
func (c *loops) Describe(to chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{c.quality, c.age, c.condition, c.findings, c.lead, c.contact} {
		to <- d
	}
	for _, v := range c.values {
		to <- v.desc
	}
}

// Collect is prometheus.Collector.
func (c *loops) Collect(to chan<- prometheus.Metric) {
	now := time.Now()
	for l := range c.list {
		c.loop(&l, now, func(d *prometheus.Desc, v float64, more ...string) {
			to <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, append([]string{l.Site, l.Area, l.Tag}, more...)...)
		})
	}
}

// loop emits one loop: its state always, its values while they can be trusted.
func (c *loops) loop(l *Loop, now time.Time, emit func(*prometheus.Desc, float64, ...string)) {
	q := l.qualityAt(now)
	emit(c.quality, float64(q))
	emit(c.condition, float64(l.Condition))
	emit(c.findings, float64(l.Findings))
	if !l.Polled.IsZero() {
		emit(c.age, now.Sub(l.Polled).Seconds())
	}
	if l.Values == nil || !q.Usable() {
		return
	}
	for _, v := range c.values {
		if x := v.of(l.Values); quantity.Known(x) {
			emit(v.desc, x)
		}
	}
	for i := range measure.LeadCount {
		name := measure.Lead(i).String()
		if o := l.Values.Leads[i]; quantity.Known(o) {
			emit(c.lead, float64(o), name)
		}
		if o := l.Contact[i]; quantity.Known(o) {
			emit(c.contact, float64(o), name)
		}
	}
}
