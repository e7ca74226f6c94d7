package devices

import (
	"fmt"
	"time"
)

// Turnaround is the time that a unit takes to begin its answer, where nothing
// better is known (common practice: serial transmitters 5 to 20 ms, devices on
// Ethernet a few ms).
const (
	TurnaroundSerial = 10 * time.Millisecond
	TurnaroundTCP    = 5 * time.Millisecond
)

// BusLimit is the share of bus time that a plan may take: the rest is for
// retries, probes and other masters (common practice).
const BusLimit = 0.8

// CharTime is the time of one character on the line: 11 bits (MODBUS over
// Serial Line V1.02, section 2.5.1).
func CharTime(baud int) time.Duration {
	if baud <= 0 {
		return 0
	}
	return 11 * time.Second / time.Duration(baud)
}

// FrameGap is the silence between frames, 3.5 characters, fixed at 1.75 ms
// above 19200 baud (section 2.5.1.1).
func FrameGap(baud int) time.Duration {
	if baud > 19200 {
		return 1750 * time.Microsecond
	}
	return CharTime(baud) * 7 / 2
}

// WireTime is the time that a request for count registers and its answer take
// on a serial line of the link's speed, the silence after each included; the
// unit's own time comes on top. Request 8 bytes, answer 5 + 2·count.
func (c LinkConfig) WireTime(count uint16) time.Duration {
	baud := c.WithDefaults().Baud
	return CharTime(baud)*time.Duration(8+5+2*int(count)) + 2*FrameGap(baud)
}

// RequestTime is the bus time of one request for count registers: on serial
// lines, and behind gateways whose baud is stated, wire time and turnaround,
// else the turnaround of a TCP device; the link's pause on top.
func (c LinkConfig) RequestTime(count uint16) time.Duration {
	t, _, err := ParseURL(c.URL)
	d := TurnaroundTCP
	if err == nil && (t == RTU || c.Baud > 0) {
		d = c.WireTime(count) + TurnaroundSerial
	}
	return d + c.Pause
}

// LoadLoop is one loop of a link for the bus load.
type LoadLoop struct {
	Profile  *Profile
	Interval time.Duration
}

// Load is how busy a link's plan keeps it.
type Load struct {
	Share       float64 // of bus time, 1 = all of it
	Requests    float64 // a second
	Ceiling     float64 // requests a second that the link allows, 0 = any
	Registers   float64 // a second
	PerRequest  time.Duration
	SlowestNeed float64 // factor that all intervals must grow by to fit, 1 = fits as it is
}

// BusLoad adds up what polling the loops costs, each by its own requests (that
// is: before neighbours are read together, which only lowers it).
func (c LinkConfig) BusLoad(loops []LoadLoop) Load {
	var l Load
	var busy float64 // seconds a second
	for _, p := range loops {
		if p.Profile == nil || p.Interval <= 0 {
			continue
		}
		rate := 1 / p.Interval.Seconds()
		plan := p.Profile.Plan()
		if len(plan) > 1 {
			plan = append(plan, plan[0]) // read again, to know that all are of one moment
		}
		for _, r := range plan {
			l.Requests += rate
			l.Registers += rate * float64(r.Count)
			busy += rate * c.RequestTime(r.Count).Seconds()
		}
	}
	l.Share, l.Ceiling, l.SlowestNeed = busy, c.MaxRequests, 1
	if l.Requests > 0 {
		l.PerRequest = time.Duration(busy / l.Requests * float64(time.Second))
	}
	l.SlowestNeed = max(1, l.Share/BusLimit)
	if c.MaxRequests > 0 {
		l.SlowestNeed = max(l.SlowestNeed, l.Requests/c.MaxRequests)
	}
	return l
}

// Fits returns the interval to use instead of want: want itself when the link
// carries the plan, else the shortest whole second (or tenth below one second)
// that would fit with all loops slowed alike.
func (l Load) Fits(want time.Duration) time.Duration {
	if l.SlowestNeed <= 1 {
		return want
	}
	need := time.Duration(float64(want) * l.SlowestNeed)
	step := time.Second
	if need < time.Second {
		step = 100 * time.Millisecond
	}
	return (need + step - 1) / step * step
}

// Check returns an error that names the interval that would fit, or nil.
func (l Load) Check(want time.Duration) error {
	if l.SlowestNeed <= 1 {
		return nil
	}
	if l.Ceiling > 0 && l.Requests/l.Ceiling > l.Share/BusLimit {
		return fmt.Errorf("%.1f requests a second, but the link allows %.1f; an interval of %v would fit", l.Requests, l.Ceiling, l.Fits(want))
	}
	return fmt.Errorf("bus load %.0f %% of %.0f %% (%.1f requests a second, %v each); an interval of %v would fit",
		100*l.Share, 100*BusLimit, l.Requests, l.PerRequest.Round(100*time.Microsecond), l.Fits(want))
}
