package config

import (
	"fmt"
	"math"
	"time"

	"ohmdrift/devices"
)

// BusLoad is what the loops of a link ask of it.
type BusLoad struct {
	Requests float64       // a second
	Busy     float64       // share of the time, 0..1; above 1 it cannot be kept
	Longest  time.Duration // one request with its answer, the longest of the link
	Fits     time.Duration // shortest interval that would fit if all loops had the same one
}

// fullest is the share of a bus beyond which an interval is refused: the rest
// goes to retries, probes of dead units and the jitter of devices (common
// practice).
const fullest = 0.9

// usualTurnaround is what a unit needs to answer where the link does not say:
// 20 ms on a serial line and behind a gateway of which the line is known, 2 ms
// over Ethernet (common practice).
func usualTurnaround(t devices.Transport) time.Duration {
	if t.Ambiguous() {
		return 20 * time.Millisecond
	}
	return 2 * time.Millisecond
}

// bits returns the bits of one character on a serial line: start, data, parity,
// stop.
func (k *Link) bits() float64 {
	n := 1 + max(k.DataBits, 8) + max(k.StopBits, 1)
	if k.Parity != "none" {
		n++
	}
	return float64(n)
}

// Request returns how long one read of n registers holds the link: the frames
// on the wire with the silence between them, the device's own time and the
// pause. A serial request has 8 bytes, its answer 5 + 2n; silence is 3.5
// characters, 1.75 ms above 19200 baud (Modbus Serial Line V1.02, 2.5.1.1).
func (k *Link) Request(n int) time.Duration {
	d := k.Turnaround + k.Pause
	if k.Baud > 0 {
		char := k.bits() / float64(k.Baud)
		silence := 3.5 * char
		if k.Baud > 19200 {
			silence = 1.75e-3
		}
		d += time.Duration((float64(8+5+2*n)*char + 2*silence) * float64(time.Second))
	}
	return d
}

// load adds up what the loops of a link ask of it, without joining the requests
// of neighbouring loops.
func load(k *Link, loops []Loop) BusLoad {
	var sum BusLoad
	var once time.Duration
	var requests int
	for i := range loops {
		l := &loops[i]
		var took time.Duration
		plan := l.Profile.Wired(l.Wires).Plan()
		for _, q := range plan {
			d := k.Request(int(q.Count))
			took += d
			sum.Longest = max(sum.Longest, d)
		}
		once += took
		requests += len(plan)
		sum.Busy += took.Seconds() / l.Interval.Seconds()
		sum.Requests += float64(len(plan)) / l.Interval.Seconds()
	}
	sum.Fits = time.Duration(float64(once) / fullest)
	if k.MaxRequests > 0 {
		sum.Fits = max(sum.Fits, time.Duration(float64(requests)/k.MaxRequests*float64(time.Second)))
	}
	return sum
}

// checkLoad works out the load of every link and refuses what cannot be kept.
func (l *loader) checkLoad(p *Plant, drafts []given[linkDraft]) {
	behind := make([][]Loop, len(p.Links))
	for _, loop := range p.Loops {
		behind[loop.Link] = append(behind[loop.Link], loop)
	}
	for i := range p.Links {
		k := &p.Links[i]
		k.Load = load(k, behind[i])
		at, path := drafts[i].at, drafts[i].path
		n := len(behind[i])
		switch {
		case n == 0:
			l.warn(at, path, "leave it out, or give loops to it", "link %s has no loops", k.Name)
		case k.MaxRequests > 0 && k.Load.Requests > k.MaxRequests*(1+1e-9):
			l.add(at, path, fits(k, behind[i]), "%s of link %s would make %.3g requests/s, more than its ceiling of %g", loopCount(n), k.Name, k.Load.Requests, k.MaxRequests)
		case k.Load.Busy > fullest:
			l.add(at, path, fits(k, behind[i]), "%s of link %s would take %.0f %% of the bus, more than the %.0f %% that can be kept (%s)",
				loopCount(n), k.Name, 100*k.Load.Busy, 100*fullest, k.lineText())
		}
	}
}

func loopCount(n int) string {
	if n == 1 {
		return "1 loop"
	}
	return fmt.Sprintf("%d loops", n)
}

// fits names the interval that would fit. Where the loops have different ones,
// it is the factor by which all would have to grow.
func fits(k *Link, loops []Loop) string {
	same := true
	for i := range loops {
		same = same && loops[i].Interval == loops[0].Interval
	}
	if same {
		return "an interval of " + since(roundUp(k.Load.Fits)) + " would fit"
	}
	factor := k.Load.Busy / fullest
	if k.MaxRequests > 0 {
		factor = max(factor, k.Load.Requests/k.MaxRequests)
	}
	return fmt.Sprintf("intervals %.1f times as long would fit, or %s for all", math.Ceil(factor*10)/10, since(roundUp(k.Load.Fits)))
}

// roundUp goes up to a number that people would choose.
func roundUp(d time.Duration) time.Duration {
	step := 100 * time.Millisecond
	if d > 10*time.Second {
		step = time.Second
	}
	return (d + step - 1) / step * step
}

func (k *Link) lineText() string {
	if k.Baud == 0 {
		return "turnaround " + since(k.Turnaround)
	}
	return fmt.Sprintf("%d baud, turnaround %s", k.Baud, since(k.Turnaround))
}
