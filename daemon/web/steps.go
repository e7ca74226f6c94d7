package web

import (
	"strings"

	"ohmdrift/diagnostics/finding"
)

// step is one thing to do at the loop, and why or how.
type step struct{ Do, Why string }

// cautions come before any step. They are general wording: local codes, the
// site's rules and qualified persons decide.
func cautions(l *Loop) []string {
	first := "Touching a live measuring circuit changes what the control system sees. Tell the control room first; a controlling loop goes to manual."
	if l.Spec.Role == "control" {
		first = "This loop controls. Touching it changes what the controller sees: tell the control room, and have it in manual first."
	}
	return []string{
		first,
		"Trips and safety functions fed by this loop are inhibited only under the site's bypass procedure.",
		"In hazardous areas: only with the site's permits and equipment. Opening a box can void its protection; an intrinsically safe circuit must keep its certified parameters.",
		"Other voltages may be in the same box: isolate and prove dead.",
		"Work is for qualified persons under local codes and the site's rules. What is shown here is an estimate with an uncertainty, and advice only.",
	}
}

// steps lists what to do about the leads that stand; nil where no lead is named.
func steps(l *Loop, bad finding.LeadSet) []step {
	if bad == 0 {
		return nil
	}
	lead := list(bad.Names())
	run := runOf(l.Terminals, bad)
	s := []step{{
		"Look at " + lead + " without touching" + prefixed(": ", points(run)) + ".",
		"Green, wet, loose? Photograph it. A meter's test current can heal a film for a while, so measure last.",
	}}
	if len(run) > 2 {
		s = append(s, step{
			"Move " + lead + " gently at " + name(run[len(run)/2]) + ", the middle of its run, and watch it on this page.",
			"A jump names that side; halve again.",
		})
	} else {
		s = append(s, step{"Move " + lead + " gently and watch it on this page.", "A jump says that the contact is near your hand."})
	}
	return append(s,
		step{"Verify with an independent measurement before anything is replaced.", "Write down the values before and after."},
		step{"Re-terminate the bad point as its maker instructs.", "The maker's instruction also says how firmly."})
}

func runOf(all []Terminal, bad finding.LeadSet) (run []Terminal) {
	for _, t := range all {
		if bad.Has(t.Lead) {
			run = append(run, t)
		}
	}
	return run
}

func points(run []Terminal) string {
	names := make([]string, len(run))
	for i, t := range run {
		names[i] = name(t)
	}
	return list(names)
}

// name is a terminal as its label in the field: enclosure, strip and number.
func name(t Terminal) string {
	return strings.TrimSpace(t.Enclosure + " " + pointLabel(t))
}

func pointLabel(t Terminal) string {
	if t.Strip == "" {
		return t.Terminal
	}
	return t.Strip + ":" + t.Terminal
}
