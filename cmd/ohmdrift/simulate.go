package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/url"
	"time"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/spf13/cobra"

	"ohmdrift/config"
	"ohmdrift/daemon/demo"
	"ohmdrift/devices/plant"
)

// simulation is what simulate is asked to do.
type simulation struct {
	file   string
	seed   uint64
	speed  float64
	listen string
	json   bool
}

func newSimulate() *cobra.Command {
	var s simulation
	c := &cobra.Command{
		Use:   "simulate --config FILE",
		Short: "Run simulated transmitters for a plant file, and nothing else",
		Long: `Serve every loop of a plant file from simulated transmitters on a real Modbus
server, each link at the port of its URL. The leads are copper with weather and
season, contacts age, and the seed chooses which loops go bad: try a plant file,
a register map or another Modbus client against it. Links must be tcp:// or
rtuovertcp:// on this machine; with --listen the ports are served on that address
whatever host the file names. Contacts age --speed times as fast from the start on.`,
		Example: "  ohmdrift simulate --config larkfield.yaml --seed 7\n  ohmdrift simulate --config larkfield.yaml --speed 86400 --listen 0.0.0.0",
		Args:    cobra.NoArgs,
		RunE:    func(c *cobra.Command, _ []string) error { return s.run(c.Context(), c.OutOrStdout(), c.ErrOrStderr()) },
	}
	f := c.Flags()
	f.StringVar(&s.file, "config", "", "the plant's YAML file")
	f.Uint64Var(&s.seed, "seed", 1, "which loops go bad, and how")
	f.Float64Var(&s.speed, "speed", 1, "how much faster than real time contacts age")
	f.StringVar(&s.listen, "listen", "", "address to serve all links on, instead of the host of each URL")
	f.BoolVar(&s.json, "json", false, "print addresses and faults as one JSON object")
	_ = c.MarkFlagRequired("config") // the flag exists
	return c
}

func (s *simulation) run(ctx context.Context, out, errs io.Writer) error {
	if !(s.speed > 0) {
		return fmt.Errorf("--speed %g: want more than 0; 1 is real time", s.speed)
	}
	site, err := config.LoadWith(s.file, config.Options{SkipSecrets: true})
	if err != nil {
		return mistaken(err, errs)
	}
	conf, err := s.plant(site)
	if err != nil {
		fmt.Fprintf(errs, "%s: %v\n", s.file, err)
		return bad()
	}
	p, err := plant.New(conf)
	if err != nil {
		fmt.Fprintf(errs, "%s: %v\n", s.file, err)
		return bad()
	}
	bound, err := p.Listen()
	if err != nil {
		return couldNot(fmt.Errorf("simulate: %w; is another one running?", err))
	}
	defer p.Close()
	if err := s.print(out, site, p, bound); err != nil {
		return couldNot(err)
	}
	if err := p.Serve(ctx); err != nil {
		return couldNot(err)
	}
	n := p.Counts()
	fmt.Fprintf(errs, "answered %d requests with %d registers, %d with exceptions; %d attempts to write refused\n", n.Requests, n.Registers, n.Exceptions, n.Writes)
	return nil
}

// plant describes the transmitters of a site, each link at its port.
func (s *simulation) plant(site *config.Plant) (plant.Config, error) {
	conf := demo.PlantConfig(site)
	conf.Seed, conf.Speed, conf.Chosen = s.seed, s.speed, true
	for i := range site.Links {
		addr, err := s.address(&site.Links[i])
		if err != nil {
			return conf, err
		}
		conf.Links[i] = addr
	}
	return conf, nil
}

// address returns where a link is to be served.
func (s *simulation) address(l *config.Link) (string, error) {
	u, err := url.Parse(l.URL)
	if err != nil || (u.Scheme != "tcp" && u.Scheme != "rtuovertcp") || u.Port() == "" {
		return "", fmt.Errorf("link %s: %s cannot be simulated; only tcp://host:port and rtuovertcp://host:port can", l.Name, l.URL)
	}
	if s.listen != "" {
		return u.Scheme + "://" + net.JoinHostPort(s.listen, u.Port()), nil
	}
	if ip := net.ParseIP(u.Hostname()); u.Hostname() != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return "", fmt.Errorf("link %s: %s is not on this machine; give --listen to serve its port here", l.Name, u.Hostname())
	}
	return u.Scheme + "://" + u.Host, nil
}

// The JSON form of what simulate prints.
type (
	simulatedJSON struct {
		Site   string              `json:"site"`
		Seed   uint64              `json:"seed"`
		Speed  float64             `json:"speed"`
		Links  []simulatedLinkJSON `json:"links"`
		Faults []simulatedBadJSON  `json:"faults"`
	}
	simulatedLinkJSON struct {
		Name    string `json:"name"`
		Address string `json:"address"`
		Loops   int    `json:"loops"`
	}
	simulatedBadJSON struct {
		Loop  string `json:"loop"`
		Kind  string `json:"kind"`
		Lead  string `json:"lead"`
		Since string `json:"since"`
		Box   string `json:"box,omitempty"`
	}
)

func (s *simulation) print(out io.Writer, site *config.Plant, p *plant.Plant, bound []string) error {
	doc := simulatedJSON{Site: site.Site, Seed: s.seed, Speed: s.speed, Links: []simulatedLinkJSON{}, Faults: []simulatedBadJSON{}}
	for i, addr := range bound {
		l := simulatedLinkJSON{Name: site.Links[i].Name, Address: addr}
		for j := range site.Loops {
			if site.Loops[j].Link == i {
				l.Loops++
			}
		}
		doc.Links = append(doc.Links, l)
	}
	for _, d := range p.Degrading() {
		b := simulatedBadJSON{Loop: d.Tag, Kind: string(d.Kind), Since: d.Onset.UTC().Format(time.RFC3339), Box: d.Box}
		if d.Kind.InLead() {
			b.Lead = d.Lead.String()
		}
		doc.Faults = append(doc.Faults, b)
	}
	if s.json {
		return json.NewEncoder(out).Encode(doc)
	}
	doc.write(out, p.Loops())
	return nil
}

func (d *simulatedJSON) write(out io.Writer, loops int) {
	fmt.Fprintf(out, "%s: %d simulated loops, seed %d, contacts age %g times as fast as real time\n\n", d.Site, loops, d.Seed, d.Speed)
	t := table.NewWriter()
	styled(t)
	t.AppendHeader(table.Row{"link", "address", "loops"})
	for _, l := range d.Links {
		t.AppendRow(table.Row{l.Name, l.Address, l.Loops})
	}
	fmt.Fprintln(out, t.Render())
	t = table.NewWriter()
	styled(t)
	t.AppendHeader(table.Row{"bad loop", "how", "lead", "since", "box"})
	for _, f := range d.Faults {
		t.AppendRow(table.Row{f.Loop, f.Kind, f.Lead, f.Since, f.Box})
	}
	fmt.Fprintf(out, "\n%s\n\nserving; stop with Ctrl-C\n", t.Render())
}
