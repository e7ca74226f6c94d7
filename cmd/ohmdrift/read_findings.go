package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"ohmdrift/config"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/finding"
)

// shownJSON is one thing that a single reading shows of a loop.
type shownJSON struct {
	Kind      finding.Kind        `json:"kind"`
	Severity  string              `json:"severity"`
	Leads     []string            `json:"leads"`
	Evidence  string              `json:"evidence"`
	Advice    string              `json:"advice"`
	Terminals map[string][]string `json:"terminals,omitempty"` // by lead, from the element on
}

func shownOf(l *config.Loop, s *visited) []shownJSON {
	var all []shownJSON
	for _, f := range s.finds {
		j := shownJSON{Kind: f.Kind, Severity: f.Severity.String(), Leads: f.Leads.Names(), Evidence: f.Evidence, Advice: diagnostics.Advice(f.Kind)}
		for _, lead := range l.Leads() {
			if run := terminalRun(l, lead.String()); f.Leads.Has(lead) && len(run) > 0 {
				if j.Terminals == nil {
					j.Terminals = map[string][]string{}
				}
				j.Terminals[lead.String()] = run
			}
		}
		all = append(all, j)
	}
	return all
}

// terminalRun names the terminals that a lead passes, from the element on.
func terminalRun(l *config.Loop, lead string) []string {
	var at []config.Terminal
	for _, t := range l.Terminals {
		if t.Lead.String() == lead {
			at = append(at, t)
		}
	}
	slices.SortFunc(at, func(a, b config.Terminal) int { return cmp.Compare(a.Order, b.Order) })
	run := make([]string, len(at))
	for i, t := range at {
		run[i] = strings.TrimSpace(t.Enclosure + " " + t.Strip + ":" + t.Terminal)
	}
	return run
}

// caution stands under every list of terminals: somebody may open a box next.
const caution = "Before a terminal is touched: tell the control room, put a controlling loop in manual, and follow\n" +
	"the site's permits and the local code; work is for qualified persons. These are estimates, not a calibration."

// printFindings says what single readings show, and where to look.
func (v *visit) printFindings(out io.Writer) error {
	var b strings.Builder
	for _, s := range v.ordered() {
		l := &v.plant.Loops[s.at]
		for _, f := range shownOf(l, &s) {
			fmt.Fprintf(&b, "\n%s  %s: %s\n", l.Tag, f.Kind, f.Evidence)
			for _, lead := range f.Leads {
				if run := f.Terminals[lead]; len(run) > 0 {
					fmt.Fprintf(&b, "  lead %s: %s\n", lead, strings.Join(run, ", "))
				}
			}
			if f.Advice != "" {
				fmt.Fprintf(&b, "  to do: %s\n", f.Advice)
			}
		}
	}
	if b.Len() == 0 {
		return nil
	}
	_, err := fmt.Fprintf(out, "%s\n%s\n", b.String(), caution)
	return err
}
