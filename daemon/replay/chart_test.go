package replay

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"ohmdrift/devices/plant"
	"ohmdrift/diagnostics/drift"
	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/wiring"
)

// A contact that grew a hundredfold past its threshold must not press the moment
// of the finding into the axis: the threshold stands well above zero.
func TestSmallBeginningIsSeenBesideALargeEnd(t *testing.T) {
	p := panel{bend: 30}
	low, high := -5.0, 3000.0
	share := (p.height(30) - p.height(0)) / (p.height(high) - p.height(low))
	if share < 0.12 {
		t.Errorf("the threshold is at %.0f %% of the panel, want at least 12 %%", share*100)
	}
	y := func(v float64) float64 {
		return panelHeight * (p.height(high) - p.height(v)) / (p.height(high) - p.height(low))
	}
	ticks := p.ticks(low, high, y)
	if !slices.Contains(ticks, 0) || !slices.Contains(ticks, 1000) {
		t.Errorf("ticks %v, want 0 and 1000 among them", ticks)
	}
	slices.Sort(ticks)
	for i, v := range ticks[1:] {
		if y(ticks[i])-y(v) < tickApart {
			t.Errorf("ticks %g and %g are written over each other", ticks[i], v)
		}
	}
}

// What was said can be read in the drawing, with its evidence.
func TestChartTellsFindings(t *testing.T) {
	spec := plant.StorySpec(wiring.ThreeWireDual, wiring.AllLeads)
	spec.Tag = "TT<1"
	c := chart{spec: &spec}
	for i := range 200 {
		v := drift.View{Block: recordStart.Add(time.Duration(i) * 6 * time.Hour), Factor: 1, Contact: measure.NoLeads(), Level: measure.NoLeads(), Threshold: measure.NoLeads(), Noise: measure.NoLeads()}
		c.block(&Seen{View: v, Block: true})
	}
	c.said(&finding.Finding{Time: recordStart.Add(300 * time.Hour), Kind: finding.LeadDrift, Leads: finding.LeadsOf(measure.B1), Severity: finding.Maintenance, Evidence: strings.Repeat("b1 & co ", 40) + "end"})
	svg := string(c.svg())
	for _, want := range []string{"TT&lt;1", "lead-drift b1 raised maintenance", "b1 &amp; co", "end</text>", recordStart.Format(time.DateOnly)} {
		if !strings.Contains(svg, want) {
			t.Errorf("%q is not in the drawing", want)
		}
	}
	if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
		t.Error("a coordinate is no number")
	}
}

func TestWrap(t *testing.T) {
	got := wrap("one two  three four", 9)
	if want := []string{"one two", "three", "four"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if got := wrap("", 9); got != nil {
		t.Errorf("nothing is %q", got)
	}
}

// The cells after a finding: what is not known or never comes is empty.
func TestOutlookCells(t *testing.T) {
	at := recordStart
	f := finding.Finding{Error: 0.25, U: 0.1, Forecast: &finding.Forecast{State: finding.Dated, P10: at, P50: at.Add(time.Hour)}}
	want := []string{"0.250000", "0.100000", at.Format(time.RFC3339), at.Add(time.Hour).Format(time.RFC3339), ""}
	if got := outlook(&f); !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	f = finding.Finding{U: 0.1}
	f.Error /= f.Error // 0/0
	if got := outlook(&f); got[0] != "" || !math.IsNaN(float64(f.Error)) || strings.Join(got[2:], "") != "" {
		t.Errorf("an unknown error and no forecast are %q", got)
	}
}
