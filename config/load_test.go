package config

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/go-cmp/cmp"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

func loadExample(t testing.TB) *Plant {
	p, err := Load("testdata/example/plant.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func loopOf(t testing.TB, p *Plant, tag string) *Loop {
	for i := range p.Loops {
		if p.Loops[i].Tag == tag {
			return &p.Loops[i]
		}
	}
	t.Fatalf("no loop %s", tag)
	return nil
}

func TestExampleIsComplete(t *testing.T) {
	p := loadExample(t)
	for _, w := range p.Warnings {
		t.Errorf("warning: %v", w)
	}
	if p.Site != "Larkfield" || len(p.Links) != 3 || len(p.Loops) != 5 {
		t.Fatalf("site %q, %d links, %d loops", p.Site, len(p.Links), len(p.Loops))
	}
	if p.Influx.Token != "a-token" || p.Influx.Batch != DefaultBatch || p.Alerts.Webhook.Timeout != 5*time.Second {
		t.Errorf("services: %+v %+v", p.Influx, p.Alerts.Webhook)
	}
	if want := filepath.Join("testdata", "example", "data"); p.Store.Dir != want || p.Store.Retention != 400*24*time.Hour {
		t.Errorf("store %+v; want %s", p.Store, want)
	}
	if len(p.Hash) != 64 || len(p.Files) != 4 {
		t.Errorf("hash %q of %v", p.Hash, p.Files)
	}
	yard := p.Links[2]
	if d := cmp.Diff([]Window{{345, 375}, {1410, 30}}, yard.Quiet); d != "" || yard.MaxRequests != 4 || yard.StopBits != 1 || yard.Parity != "even" {
		t.Errorf("yard %+v %s", yard, d)
	}
	if skid := p.Links[1]; skid.StopBits != 2 { // no parity: two stop bits (Modbus Serial Line V1.02, 2.5.1)
		t.Errorf("skid-1 has %d stop bits", skid.StopBits)
	}
}

func TestExampleLoops(t *testing.T) {
	p := loadExample(t)
	a := loopOf(t, p, "TT-3101")
	// 30 ft of 22 AWG: 0.4843 Ω (ASTM B258 and annealed copper at 20 °C); two
	// terminal points add 1 mΩ each.
	if math.Abs(float64(a.Cable20)-0.48629) > 1e-5 || a.Points != 2 || float64(a.CableM) != 9.144 {
		t.Errorf("TT-3101: %v Ω, %d points, %v m", a.Cable20, a.Points, a.CableM)
	}
	if a.Terminals[0].Enclosure != "TE-3101 head" || a.Terminals[1].Strip != "X1" || a.Terminals[0].Lead != measure.A1 {
		t.Errorf("TT-3101: terminals %+v", a.Terminals)
	}
	if a.Method != wiring.ThreeWireDual || a.Wires != 3 || a.Reports != wiring.AllLeads || a.Class != rtd.ClassA || a.Rule != diagnostics.Certain || a.Spread != 0.02 {
		t.Errorf("TT-3101: %+v", a.Spec)
	}
	if a.Accuracy.Lead != 0.01 || !math.IsNaN(a.Accuracy.Gain) || a.Interval != 10*time.Second || a.Spec.Interval != a.Interval {
		t.Errorf("TT-3101: accuracy %+v, interval %v %v", a.Accuracy, a.Interval, a.Spec.Interval)
	}
	b := loopOf(t, p, "TT-3102")
	if b.Base != 100 || b.Calibrated != diagnostics.LeadsIn || b.LeadLimit != 20 || b.Sensor.Name() != "Element-7" || b.Method != wiring.FourWire {
		t.Errorf("TT-3102: %+v base %d", b.Spec, b.Base)
	}
	c := loopOf(t, p, "TT-3103")
	if c.Fixed != 1.2 || c.LimitHigh != 1 || c.LimitLow != -0.5 || c.Reports != wiring.ReadingOnly || c.Unit != 7 || c.Link != 1 {
		t.Errorf("TT-3103: %+v", c.Spec)
	}
	d := loopOf(t, p, "TT-3105")
	if d.Base != 4 || d.Profile.Name != "hall" || d.Interval != 30*time.Second || d.Outdoor || d.Place.Line != 4 || d.Site != "Larkfield" {
		t.Errorf("TT-3105: base %d, %+v at %v", d.Base, d.Spec, d.Place)
	}
	if e := loopOf(t, p, "TT-3104"); !e.Outdoor || e.LimitLow != -0.5 || e.LimitHigh != 0.5 {
		t.Errorf("TT-3104: %+v", e.Spec)
	}
}

// TestHashFollowsContent: the same files give the same hash, another character
// another one, and the secret is not part of it.
func TestHashFollowsContent(t *testing.T) {
	load := func(change func(fstest.MapFS)) string {
		files := fstest.MapFS{}
		for _, n := range []string{"plant.yaml", "hall.yaml", "index.csv", "terminals.csv", "token"} {
			text, err := os.ReadFile(filepath.Join("testdata/example", n))
			if err != nil {
				t.Fatal(err)
			}
			files[n] = &fstest.MapFile{Data: text}
		}
		change(files)
		p, err := LoadFS(files, "plant.yaml")
		if err != nil {
			t.Fatal(err)
		}
		return p.Hash
	}
	same := load(func(fstest.MapFS) {})
	if got := loadExample(t).Hash; got != same {
		t.Errorf("hash from disk %s, from memory %s", got, same)
	}
	if load(func(f fstest.MapFS) { f["token"].Data = []byte("other") }) != same {
		t.Error("the hash tells the token")
	}
	if load(func(f fstest.MapFS) {
		f["index.csv"].Data = bytes.Replace(f["index.csv"].Data, []byte("TT-3105"), []byte("TT-3106"), 1)
	}) == same {
		t.Error("a changed index has the same hash")
	}
}

func TestWarnings(t *testing.T) {
	const plant = `site: Larkfield
links:
  - {name: a, url: "tcp://127.0.0.1"}
  - {name: b, url: "tcp://127.0.0.2", sole-master: false}
loops:
  - {tag: TT-1, method: two-wire, class: A, link: a, unit: 1, profile: reading-only}
  - {tag: TT-2, wires: 4, link: a, unit: 2, profile: leads-scaled, interval: 1 s, base: 40101}
`
	p, err := LoadFS(fstest.MapFS{"plant.yaml": {Data: []byte(plant)}}, "plant.yaml")
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		`plant.yaml:4:5: links[1]: link b has no loops; leave it out, or give loops to it`,
		`plant.yaml:4:52: links[1].sole-master: the link has another master and no ceiling of requests; state a ceiling under "shared", as in "shared: {max-requests: 5}"`,
		`plant.yaml:6:42: loops[0].class: class A on a two-wire connection; its leads alone exceed the class; see IEC 60751 clause 5.4`,
		`plant.yaml:7:78: loops[1].interval: interval 1 s is shorter than the 2 s after which the device renews its values; values repeat between renewals`,
		`plant.yaml:7:89: loops[1].base: base 40101 is read as register 40101 (wire address 40100); documents that number registers so mean wire address 100; if so, write base: 101`,
	}
	if d := cmp.Diff(strings.Join(want, "\n"), p.Warnings.Error()); d != "" {
		t.Errorf("warnings (-want +got):\n%s", d)
	}
}

func TestLoadErrors(t *testing.T) {
	if _, err := Load("testdata/none.yaml"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing file: %v", err)
	}
	if _, err := Load("testdata"); err == nil || !strings.Contains(err.Error(), "is a folder") {
		t.Errorf("folder: %v", err)
	}
	if _, err := LoadIndex("testdata/none.csv", IndexOptions{}); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing index: %v", err)
	}
}

// TestSkipSecrets: a look from elsewhere needs no tokens and no certificates.
func TestSkipSecrets(t *testing.T) {
	const plant = `site: Larkfield
links:
  - {name: a, url: "tcp+tls://127.0.0.1", tls: {cert_file: c, key_file: k, ca_file: a}}
loops:
  - {tag: TT-1, wires: 4, link: a, unit: 1, profile: leads-float}
influx: {url: "http://127.0.0.1:8086", bucket: rtd, token_file: nowhere}
`
	files := fstest.MapFS{"plant.yaml": {Data: []byte(plant)}}
	if _, err := LoadFS(files, "plant.yaml"); err == nil {
		t.Error("loaded without its token")
	}
	if p, err := LoadWith("plant.yaml", Options{FS: files, SkipSecrets: true}); err != nil || p.Influx.Token != "" {
		t.Errorf("error %v", err)
	}
}

// largeIndex is an index of n loops behind n/50 links.
func largeIndex(n int) fstest.MapFS {
	var plant, index bytes.Buffer
	plant.WriteString("site: Larkfield\nindex: {file: index.csv}\nlinks:\n")
	for i := range (n + 49) / 50 {
		fmt.Fprintf(&plant, "  - {name: link-%d, url: \"tcp://10.1.%d.%d\", sole-master: true}\n", i, i/250, i%250+1)
	}
	index.WriteString("tag,area,box,cabinet,cable,method,sensor,class,limit_degC,calibrated,cable_m,conductor,balance,role,outdoor,service,link,unit,profile,base,interval_s\n")
	for i := range n {
		fmt.Fprintf(&index, "TT-%d,Area %d,JB-%d,MC-%d,C-%d,three-wire-dual,Pt100,A,0.5,leads-out,%d,0.75 mm2,2026-01 bridge,control,yes,steady,link-%d,%d,leads-float,0,10\n",
			10000+i, i%7, i/12, i/200, i, 10+i%200, i/50, 1+i%50)
	}
	return fstest.MapFS{"plant.yaml": {Data: plant.Bytes()}, "index.csv": {Data: index.Bytes()}}
}

func TestLargeIndexLoads(t *testing.T) {
	p, err := LoadFS(largeIndex(5000), "plant.yaml")
	if err != nil || len(p.Loops) != 5000 || len(p.Links) != 100 {
		t.Fatal(err)
	}
	// 50 loops at 10 s, one request each, 2 ms: 1 % of the link.
	if l := p.Links[99].Load; math.Abs(l.Requests-5) > 1e-9 || math.Abs(l.Busy-0.01) > 1e-9 {
		t.Errorf("load %+v", l)
	}
}

// BenchmarkLoad is the promise that 5,000 loops load and validate in under 1 s.
func BenchmarkLoad(b *testing.B) {
	files := largeIndex(5000)
	b.Run("loops=5000", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := LoadFS(files, "plant.yaml"); err != nil {
				b.Fatal(err)
			}
		}
	})
}
