package plant

import (
	"math"
	"strings"
)

// process is the temperature at the sensor: a base pattern by service.
type process struct {
	key     uint64
	level   float64 // °C
	pattern pattern
	period  float64 // s, of the pattern's cycle
	noise   float64 // slow wander, K
}

type pattern uint8

const (
	level     pattern = iota // constant but for its wander
	batch                    // charge, ferment, harvest, then cleaned with steam
	defrost                  // a cold room with a defrost every few hours
	steamOnly                // cold until it is steamed once a cycle
	weatherly                // follows the outdoor air
)

const sterilising = 121.1 // °C, moist heat at 1 bar above atmosphere: common practice

// services maps words of a site's service text to what the process does. The
// first match counts; anything else is a steady process at 25 °C.
func services() []struct {
	word    string
	process process
} {
	return []struct {
		word    string
		process process
	}{
		{"batch", process{level: 37, pattern: batch, period: 60 * 3600, noise: 0.1}},
		{"ferment", process{level: 37, pattern: batch, period: 96 * 3600, noise: 0.05}},
		{"steamed", process{level: 25, pattern: steamOnly, period: 36 * 3600, noise: 0.5}},
		{"condensate", process{level: 98, noise: 2}},
		{"steam", process{level: 143, noise: 0.6}},
		{"freezer", process{level: -22, pattern: defrost, period: 8 * 3600, noise: 0.4}},
		{"cold", process{level: 5, pattern: defrost, period: 6 * 3600, noise: 0.3}},
		{"chilled", process{level: 6.5, noise: 0.4}},
		{"glycol", process{level: -5, noise: 0.6}},
		{"hot water", process{level: 80, noise: 0.7}},
		{"cooling water", process{level: 22, noise: 1.5}},
		{"ambient", process{level: 10, pattern: weatherly, noise: 0.2}},
		{"room", process{level: 21, noise: 0.4}},
		{"waste", process{level: 30, noise: 3}},
		{"incubat", process{level: 37, noise: 0.05}},
	}
}

// processOf returns the process of a loop. Partners share one: they sit at the
// same place.
func processOf(spec *Loop, seed uint64) process {
	place := spec.Tag
	if spec.Partner != "" {
		place = min(spec.Tag, spec.Partner)
	}
	key := mix(seed ^ hashString(place))
	p := process{level: 25, noise: 0.3}
	service := strings.ToLower(spec.Service)
	for _, s := range services() {
		if strings.Contains(service, s.word) {
			p = s.process
			break
		}
	}
	p.key = key
	p.level += between(key, 5, -0.5, 0.5)
	p.period *= between(key, 6, 0.9, 1.1)
	return p
}

// at returns the temperature in °C at t (s since 1970).
func (p *process) at(t float64, w weather) float64 {
	c := p.level + p.noise*wander(p.key, t, 1800, chProcess)
	switch p.pattern {
	case batch:
		return p.steamed(t, c, 16*3600)
	case steamOnly:
		return p.steamed(t, c, 2*3600)
	case defrost:
		into := p.phase(t)
		if into < 2400 {
			c += 9 * math.Sin(math.Pi*into/2400)
		}
	case weatherly:
		c += w.air - 10
	}
	return c
}

// steamed replaces the last part of a cycle: cooled to the hall, cleaned warm
// (75 °C), sterilised at 121 °C, cooled again. tail is its length in s.
func (p *process) steamed(t, running, tail float64) float64 {
	into := p.phase(t) - (p.period - tail)
	if into < 0 {
		return running
	}
	x := into / tail
	points := [...][2]float64{{0, running}, {0.15, 22}, {0.4, 22}, {0.45, 75}, {0.6, 75}, {0.65, sterilising}, {0.8, sterilising}, {0.95, running}, {1, running}}
	for i := 1; i < len(points); i++ {
		if a, b := points[i-1], points[i]; x <= b[0] {
			return a[1] + (b[1]-a[1])*(x-a[0])/(b[0]-a[0])
		}
	}
	return running
}

// phase returns the seconds since the cycle began; each place has its own.
func (p *process) phase(t float64) float64 {
	shift := p.period * uniform(p.key, 0, chStatic+7)
	return math.Mod(t+shift, p.period)
}
