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

// steps lists what to do about the leads that stand, about what no terminal alone
// can be the cause of, or about a transmitter that gives no value; nil where nothing
// is known to be the matter.
func steps(l *Loop, bad finding.LeadSet) []step {
	if l.Standing != nil {
		switch l.Standing.Kind {
		case finding.InsulationLeak:
			return leaks()
		case finding.ThermalEMF:
			return metals(l, bad)
		}
	}
	if bad == 0 {
		return withoutLead(l)
	}
	lead := list(bad.Names())
	run := runOf(l.Terminals, bad)
	look := "Look at " + lead + " without touching" + prefixed(": ", points(run)) + "."
	verify := step{"Verify with an independent measurement before anything is replaced.", "Write down the values before and after."}
	if l.Standing != nil {
		switch l.Standing.Kind {
		case finding.NotFourWire, finding.LeadsSwapped, finding.LeadShort:
			return []step{
				{look, "A jumper, two leads under one terminal, a strand that touches, a lead in the wrong place? Photograph it and compare with the wiring diagram."},
				verify,
				{"Land each lead on the terminal that the wiring diagram gives it.", "The reading jumps when the wiring is put right: tell the control room before."},
			}
		case finding.LeadOpen:
			return []step{
				{look, "Out of its terminal, broken at the ferrule, fuse or disconnect open? Photograph it."},
				{"Prove the continuity of " + lead + " from both ends, with the loop out of service.", "Halve: the break lies on the side that stays open."},
				verify,
				{"Re-terminate the bad point as its maker instructs.", "The maker's instruction also says how firmly."},
			}
		}
	}
	s := []step{{look, "Green, wet, loose? Photograph it. A meter's test current can heal a film for a while, so measure last."}}
	if one := runOf(l.Terminals, first(bad)); len(one) > 2 {
		at := name(one[len(one)/2])
		if len(bad.Names()) > 1 {
			at = one[len(one)/2].Enclosure
		}
		s = append(s, step{
			"Move " + lead + " gently at " + at + ", the middle of the run, and watch it on this page.",
			"A jump names that side; halve again.",
		})
	} else {
		s = append(s, step{"Move " + lead + " gently and watch it on this page.", "A jump says that the contact is near your hand."})
	}
	return append(s,
		verify,
		step{"Re-terminate the bad point as its maker instructs.", "The maker's instruction also says how firmly."})
}

// leaks is what to do about a shunt, which no terminal by itself makes. The figures
// are those of IEC 60751 for a new element.
func leaks() []step {
	return []step{
		{"Look for water in the head, the boxes and the glands before anything is dried.", "It comes and goes with rain, washing and hot hours. Photograph it."},
		{
			"With the loop out of service and the cable off the transmitter, measure the insulation from the leads to earth and to the screen, at a test voltage that element and cable are made for.",
			"The test voltage destroys an input that is still connected. Measure while it is wet or hot; a new element has at least 100 MΩ at 100 V when cold, and less when hot.",
		},
		{"Take element and cable apart at the head and measure each.", "Halve at the next box where it is the cable."},
		{"Write down what was found, and what was changed.", "Where the insulation is good: was the transmitter given another filter or input range?"},
	}
}

// metals is what to do about a voltage in the circuit: it comes from a joint of two
// metals with a difference of temperature across it, not from one that is loose.
func metals(l *Loop, bad finding.LeadSet) []step {
	at := "Look at every joint between head and transmitter without touching"
	if bad != 0 {
		at = "Look at the joints of " + list(bad.Names()) + " without touching" + prefixed(": ", points(runOf(l.Terminals, bad)))
	}
	return []step{
		{at + ".", "A piece of another metal: thermocouple or compensating cable, a plated link, a splice? Photograph it."},
		{
			"With the loop out of service and the leads off the transmitter, measure the voltage between them while the process is hot.",
			"It should be a few microvolts. 39 µV are 0.1 °C where 1 mA measures a Pt100.",
		},
		{"Verify with an independent measurement before anything is replaced.", "Write down the values before and after."},
		{"Replace what is of another metal, or bring both ends of it to one temperature.", "A firmer terminal does not help: the joint is sound."},
	}
}

// withoutLead is what to do where the transmitter itself gives no value.
func withoutLead(l *Loop) []step {
	if l.Standing == nil {
		return nil
	}
	switch l.Standing.Kind {
	case finding.DeviceFault:
		return []step{
			{"Read the transmitter's own diagnostics.", "They may name the sensor terminal that is open or shorted."},
			{"With the loop out of service, measure from lead to lead at the transmitter, then at the head.", "Open at the transmitter and sound at the head: the break lies between. Open at both: the element or its terminals."},
			{"Write down what was found, and what was changed.", "Compare the leads on this page before and after."},
		}
	case finding.Stale, finding.ValueFrozen:
		return []step{
			{"Look whether other loops of link " + l.Link + " answer.", "All silent: power, network or gateway. This one only: the transmitter, its address or its wiring."},
			{"Look at the supply and the communication lights of the transmitter.", "A value that stands still can come from a gateway that goes on answering for a dead device."},
		}
	}
	return nil
}

// first is the first lead of a set, as a set.
func first(s finding.LeadSet) finding.LeadSet { return s & -s }

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
