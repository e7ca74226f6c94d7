package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"

	"ohmdrift/config"
	"ohmdrift/daemon"
	"ohmdrift/daemon/poll"
)

// The JSON form of check --permit.
type (
	permitJSON struct {
		Site    string           `json:"site"`
		Hash    string           `json:"config_hash"`
		Links   []permitLinkJSON `json:"links"`
		Others  []otherJSON      `json:"other_connections"`
		Listens string           `json:"listens,omitempty"`
	}
	permitLinkJSON struct {
		Link        string              `json:"link"`
		Addresses   []string            `json:"addresses"`
		Transport   string              `json:"transport"`
		SoleMaster  bool                `json:"sole_master"`
		Connections int                 `json:"connections"`
		Rate        float64             `json:"requests_per_second"`
		Ceiling     float64             `json:"ceiling_requests_per_second,omitempty"`
		Share       float64             `json:"bus_share"`
		Quiet       []string            `json:"quiet_windows,omitempty"`
		Requests    []permitRequestJSON `json:"requests"`
	}
	permitRequestJSON struct {
		Unit     uint8    `json:"unit"`
		Function uint8    `json:"function"`
		First    uint16   `json:"first_register"`
		Last     uint16   `json:"last_register"`
		EveryS   float64  `json:"every_s"`
		Times    int      `json:"times"`
		Loops    []string `json:"loops"`
	}
	otherJSON struct {
		What string `json:"what"`
		To   string `json:"to"`
	}
)

func printPermit(out io.Writer, p *config.Plant, asJSON bool) error {
	permits, err := poll.Permits(daemon.PollPlan(p))
	if err != nil {
		return err
	}
	doc := permitJSON{Site: p.Site, Hash: p.Hash, Listens: p.Web.Listen, Others: others(p)}
	for i := range permits {
		doc.Links = append(doc.Links, permitLink(&permits[i], &p.Links[i]))
	}
	if asJSON {
		e := json.NewEncoder(out)
		e.SetIndent("", "  ")
		e.SetEscapeHTML(false)
		return e.Encode(doc)
	}
	return doc.print(out)
}

// others are the connections that are not Modbus.
func others(p *config.Plant) []otherJSON {
	o := []otherJSON{}
	if p.Influx != nil {
		o = append(o, otherJSON{"writes results to the time-series store", p.Influx.URL})
	}
	if p.Alerts.Webhook != nil {
		o = append(o, otherJSON{"sends findings", p.Alerts.Webhook.URL})
	}
	return o
}

func permitLink(q *poll.Permit, l *config.Link) permitLinkJSON {
	d := permitLinkJSON{
		Link: l.Name, Addresses: q.Addresses, Transport: q.Transport.String(), SoleMaster: l.SoleMaster,
		Connections: 1, Rate: q.Rate, Ceiling: l.MaxRequests, Requests: []permitRequestJSON{},
	}
	for _, w := range l.Quiet {
		d.Quiet = append(d.Quiet, w.String())
	}
	for _, r := range q.Requests {
		rate := float64(r.Times) / r.Every.Seconds()
		d.Share += rate * l.Request(int(r.Most)).Seconds()
		last := r.First
		if r.Most > 0 {
			last += r.Most - 1
		}
		d.Requests = append(d.Requests, permitRequestJSON{
			Unit: r.Unit, Function: r.Function, First: r.First, Last: last, EveryS: r.Every.Seconds(), Times: r.Times, Loops: r.Loops,
		})
	}
	return d
}

func (d *permitJSON) print(out io.Writer) error {
	fmt.Fprintf(out, "What ohmdrift will do at %s (config %.12s)\n\n", d.Site, d.Hash)
	fmt.Fprintln(out, "It only reads: functions 03 and 04, and 43/14 (name plate) where listed. No write can leave the program.")
	for i := range d.Links {
		d.Links[i].print(out)
	}
	fmt.Fprintln(out, "\nOther connections")
	for _, o := range d.Others {
		fmt.Fprintf(out, "  %s: %s\n", o.What, o.To)
	}
	if len(d.Others) == 0 {
		fmt.Fprintln(out, "  none")
	}
	if d.Listens != "" {
		fmt.Fprintf(out, "It listens on %s for its pages.\n", d.Listens)
	}
	_, err := fmt.Fprintln(out, "\nRates hold when every unit answers. Units that do not answer get at most 5 % of a link's time;\nwork mode, when a person starts it, takes from the same 5 %.")
	return err
}

func (l *permitLinkJSON) print(out io.Writer) {
	mode := "shared with other masters"
	if l.SoleMaster {
		mode = "sole master"
	}
	fmt.Fprintf(out, "\nLink %s: %s to %s, %d connection, %s\n", l.Link, l.Transport, strings.Join(l.Addresses, ", else "), l.Connections, mode)
	fmt.Fprintf(out, "  %.3g requests/s, about %.2g %% of the bus", l.Rate, 100*l.Share)
	if l.Ceiling > 0 {
		fmt.Fprintf(out, ", never more than %.3g requests/s", l.Ceiling)
	}
	if len(l.Quiet) > 0 {
		fmt.Fprintf(out, ", silent in %s", strings.Join(l.Quiet, ", "))
	}
	fmt.Fprintln(out)
	t := table.NewWriter()
	styled(t)
	t.AppendHeader(table.Row{"unit", "function", "registers (wire address)", "every", "loops"})
	for _, r := range l.Requests {
		t.AppendRow(table.Row{r.Unit, r.function(), r.registers(), r.every(), wrap(strings.Join(r.Loops, " "), 48)})
	}
	t.SetOutputMirror(out)
	t.Render()
}

func (r *permitRequestJSON) function() string {
	if r.Function == 43 {
		return "43/14"
	}
	return fmt.Sprintf("%02d", r.Function)
}

func (r *permitRequestJSON) registers() string {
	if r.Function == 43 {
		return "name plate"
	}
	return fmt.Sprintf("%d to %d", r.First, r.Last)
}

func (r *permitRequestJSON) every() string {
	if r.Times > 1 {
		return fmt.Sprintf("%g s, %d times", r.EveryS, r.Times)
	}
	return fmt.Sprintf("%g s", r.EveryS)
}
