package main

import (
	"context"
	"fmt"
	"io"

	"github.com/jedib0t/go-pretty/v6/table"

	"ohmdrift/config"
	"ohmdrift/daemon"
	"ohmdrift/daemon/poll"
)

// runProbe reads every loop once and shows those that do not answer as the
// plant file describes them.
func runProbe(ctx context.Context, p *config.Plant, asJSON bool, out io.Writer) error {
	v := newVisit(p)
	if err := poll.ReadOnce(ctx, daemon.PollPlan(p), v, poll.Options{}); err != nil {
		return couldNot(err)
	}
	var err error
	if asJSON {
		err = v.printJSON(out)
	} else {
		err = v.printWrong(out)
	}
	switch {
	case err != nil:
		return couldNot(err)
	case v.unsound() > 0:
		return bad()
	}
	return nil
}

// unsound counts the loops whose values cannot be used; being over a limit is
// no fault of the description.
func (v *visit) unsound() int {
	n := 0
	for i := range v.seen {
		if !v.seen[i].says.Quality.Usable() {
			n++
		}
	}
	return n
}

func (v *visit) printWrong(out io.Writer) error {
	if v.unsound() > 0 {
		t := table.NewWriter()
		styled(t)
		t.AppendHeader(table.Row{"tag", "link", "unit", "base", "profile", "quality", "problem"})
		for _, s := range v.ordered() {
			if s.says.Quality.Usable() {
				continue
			}
			l := &v.plant.Loops[s.at]
			t.AppendRow(table.Row{l.Tag, v.plant.Links[l.Link].Name, l.Unit, l.Base, l.Profile.Name, s.says.Quality.String(), wrap(s.problem(), 60)})
		}
		t.SetOutputMirror(out)
		t.Render()
	}
	_, err := fmt.Fprintf(out, "%d of %d loops answer as described\n", len(v.seen)-v.unsound(), len(v.seen))
	return err
}
