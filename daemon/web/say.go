package web

import (
	"math"
	"strconv"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/wiring"
)

// part is a piece of a sentence; strong pieces carry the answer.
type part struct {
	Text   string
	Strong bool
}

// sentence builds parts: every other argument is strong.
func sentence(pieces ...string) (s []part) {
	for i, p := range pieces {
		if p != "" {
			s = append(s, part{p, i%2 == 1})
		}
	}
	return s
}

// say is what a person wants to know first: which lead, how much, since when,
// and what it does to the reading.
func say(l *Loop, now time.Time) []part {
	switch {
	case l.Values.At.IsZero() && l.Polled.IsZero():
		return sentence("This loop has ", "never been polled", ": nothing is known of it.")
	case l.Values.At.IsZero():
		return append(sentence("This loop has given ", "no value yet", ". "), wrong(l)...)
	case !live(&l.Row, now):
		return append(sentence("What follows is ", "not of now", ": the last value came "+ago(now.Sub(l.Values.At))+". "), wrong(l)...)
	}
	s := cause(l, now)
	return append(s, effect(&l.Row)...)
}

func wrong(l *Loop) []part {
	if l.Problem == "" {
		return nil
	}
	return sentence(l.Problem)
}

func cause(l *Loop, now time.Time) []part {
	f := l.Standing
	if f == nil {
		return sentence("Nothing stands on this loop. ")
	}
	if f.Kind == finding.Imbalance { // what it does; the contact behind it says why
		f = behind(l, f)
	}
	since := ""
	if !f.Since.IsZero() {
		since = longOnset(f.Since, now)
	}
	lead := list(f.Leads.Names())
	if lead != "" && quantity.Known(f.Contact) && f.Contact > 0 {
		noun := "Lead "
		if len(f.Leads.Names()) > 1 {
			noun = "The worst of leads "
		}
		return sentence(noun, lead, " has gained ", ohm(f.Contact)+" Ω", " of contact resistance"+prefixed(" since ", since)+". ")
	}
	words := headline(f)
	return sentence("", upperFirst(words), prefixed(" since ", since)+". ")
}

// behind returns the finding of a contact that has grown, where one stands, else
// f itself.
func behind(l *Loop, f *finding.Finding) *finding.Finding {
	for i := range l.Findings {
		if g := &l.Findings[i]; g.Leads != 0 && g.Contact > 0 {
			return g
		}
	}
	return f
}

func longOnset(t, now time.Time) string {
	if d := now.Sub(t); d >= 0 && d < 24*time.Hour {
		return t.UTC().Format("15:04 UTC")
	}
	return longDay(t, now)
}

func upperFirst(s string) string {
	if s != "" && s[0] >= 'a' && s[0] <= 'z' && !leadName(s) {
		return string(s[0]-'a'+'A') + s[1:]
	}
	return s
}

// leadName reports whether s begins with the name of a lead, which is not
// capitalised.
func leadName(s string) bool {
	return len(s) > 1 && (s[0] == 'a' || s[0] == 'b') && (s[1] == '1' || s[1] == '2')
}

// effect says what the leads do to the reading.
func effect(r *Row) []part {
	e, u, from := counting(r)
	switch {
	case r.Condition == diagnostics.ConditionFailure:
		return sentence("The reading is ", "not valid", " while this stands.")
	case !quantity.Known(e):
		return sentence("What the leads do to the reading cannot be seen on this transmitter.")
	case quantity.Known(u) && math.Abs(float64(e)) <= math.Abs(float64(u)):
		return sentence("The leads do ", "nothing to the reading", " that could be told from measurement uncertainty.")
	}
	way := "high"
	if e < 0 {
		way = "low"
	}
	if from == "since calibration" {
		way += " since its calibration"
	}
	size := fixed(math.Abs(float64(e)), decimalsFor(float64(u)))
	if r.Values.Over {
		return sentence("The loop reads ", size+" °C too "+way, ", ", "over its limit", ".")
	}
	return sentence("The loop reads ", size+" °C too "+way, ".")
}

// observability says in sentences what the transmitter shows of the leads and
// what nobody can know from here.
func observability(l *Loop) []string {
	s := l.Spec
	if s.Wires == 2 {
		return []string{"Two-wire: no lead can be told from the sensor. Trouble in a lead shows only as a step, noise or drift of the reading."}
	}
	switch s.Reports {
	case wiring.AllLeads:
		return []string{"This transmitter reports every lead by itself: a bad lead can be named. Which of its terminals it is cannot be seen from here."}
	case wiring.PairsOnly:
		return []string{"a1 cannot be told from the sensor on this transmitter: a bad contact in a1 looks like a change of temperature. b1 and b2 are seen by themselves."}
	case wiring.LoopsOnly:
		sums := "the sum b1 + b2"
		if s.Wires == 4 {
			sums = "the sums a1 + a2 and b1 + b2"
		}
		return []string{"This transmitter reports only " + sums + ": a bad pair can be seen, the bad lead in it cannot be named."}
	}
	return []string{"This transmitter reports only its reading: no lead can be seen. Trouble in a lead shows only as a step, noise or drift of the reading."}
}

// where says at which terminals to look, in words.
func where(l *Loop, bad finding.LeadSet) string {
	if bad == 0 || l.Standing == nil {
		return ""
	}
	n := 0
	for _, t := range l.Terminals {
		if suspect(l, t.Enclosure, t.Lead, bad) {
			n++
		}
	}
	leads, what := list(bad.Names()), culprit(l.Standing.Kind)
	switch {
	case n == 0:
		return "The terminals of " + leads + " are not listed in the plant, so none can be marked."
	case l.Standing.Box != "":
		return "Several loops of " + l.Standing.Box + " go bad together: look at the marked terminals there first."
	case n == 1:
		return what + " is at the marked terminal of " + leads + " or in the conductor."
	}
	return what + " is at one or more of the " + strconv.Itoa(n) + " marked terminals of " + leads + ", or in the conductor. Which one cannot be seen from here."
}

// culprit is what has to be found at the terminals.
func culprit(k finding.Kind) string {
	switch k {
	case finding.LeadOpen:
		return "The break"
	case finding.LeadShort:
		return "The short"
	}
	return "The extra resistance"
}
