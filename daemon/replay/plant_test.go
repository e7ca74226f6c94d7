package replay

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/rtd"
	"ohmdrift/diagnostics/wiring"
)

// record is a recorded plant for tests: three-wire loops whose copper follows the
// day, every third with a contact that grows, a few with bad rows between.
type record struct {
	seed  uint64
	loops int
	days  float64
	step  time.Duration
}

func (r record) specs(t testing.TB) []*diagnostics.Spec {
	pt100, err := rtd.ParseSensor("Pt100")
	if err != nil {
		t.Fatal(err)
	}
	specs := make([]*diagnostics.Spec, r.loops)
	for i := range specs {
		s := diagnostics.NewSpec(fmt.Sprintf("TT-%d", 3100+i))
		s.Site, s.Area, s.Box = "Larkfield", "Fermentation", fmt.Sprintf("JB-%d", i/6)
		s.Wires, s.Method, s.Reports, s.Sensor = 3, wiring.ThreeWireDual, wiring.AllLeads, pt100
		s.LimitHigh, s.LimitLow, s.Interval, s.Calibrated = 0.3, -0.3, r.step, diagnostics.LeadsOut
		specs[i] = &s
	}
	return specs
}

var recordStart = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)

func (r record) csv() []byte {
	rnd := rand.New(rand.NewPCG(r.seed, 1))
	var b bytes.Buffer
	b.WriteString("time,loop,a1,b1,b2,sensor,reading\n")
	end := recordStart.Add(time.Duration(r.days * 24 * float64(time.Hour)))
	for at := recordStart; at.Before(end); at = at.Add(r.step) {
		days := at.Sub(recordStart).Hours() / 24
		copper := 1 + 0.04*math.Sin(2*math.Pi*days)
		for i := range r.loops {
			contact := 0.0
			if i%3 == 0 && days > r.days/2 {
				contact = 0.2 * (days - r.days/2)
			}
			noise := func() float64 { return 0.001 * rnd.NormFloat64() }
			a1, b1, b2 := 0.5*copper+noise()+contact, 0.5*copper+noise(), 0.5*copper+noise()
			fmt.Fprintf(&b, "%s,TT-%d,%.3f,%.3f,%.3f,%.3f,%.2f\n", at.Format(time.RFC3339), 3100+i, a1, b1, b2, 119.4+a1-b1+noise(), 50+2.6*(a1-b1))
		}
		if rnd.IntN(20) == 0 {
			b.WriteString(at.Format(time.RFC3339) + ",TT-9999,1,1,1,1,1\n")
		}
	}
	return b.Bytes()
}

func mustRun(t testing.TB, in []byte, o Options) (string, Report) {
	var out bytes.Buffer
	r, err := Run(context.Background(), bytes.NewReader(in), &out, o)
	if err != nil {
		t.Fatal(err)
	}
	return out.String(), r
}
