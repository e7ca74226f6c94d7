package plant

import "math"

const (
	day  = 86400.0
	year = 365.2425 * day
)

// climate is the weather of the site: a temperate one, with a season, a daily
// swing, fronts of a few days and damp nights. All of it is a function of the
// time alone (UTC taken as local solar time).
type climate struct{ key uint64 }

// weather is the climate at one moment.
type weather struct {
	air  float64 // outdoor air, °C
	sun  float64 // 0 at night to 1 in a clear summer noon
	wet  float64 // 0 dry to 1 dripping, in a leaky box
	hall float64 // air of a heated hall, °C
}

// at returns the weather at t (s since 1970).
func (c climate) at(t float64) weather {
	season := math.Cos(2 * math.Pi * (t/year - 20/365.2425)) // +1 on 20 January, the coldest
	hour := math.Cos(2 * math.Pi * (t/day - 15.0/24))        // +1 at 15:00, the warmest
	clear := 0.5 + 0.5*wander(c.key, t, 1.5*day, 1)
	damp := wander(c.key, t, 0.8*day, 2)

	w := weather{}
	w.air = 10 - 8*season + 4*wander(c.key, t, 3*day, 3) + (2+4*clear)*hour
	w.sun = max(0, math.Cos(2*math.Pi*(t/day-0.5))+0.1-0.4*season) / 1.5 * clear
	w.wet = clamp(0.5+0.9*damp-0.3*hour-0.3*clear, 0, 1)
	w.hall = 21 + 0.1*(w.air-10) + 1.2*hour
	return w
}

func clamp(x, lo, hi float64) float64 { return min(max(x, lo), hi) }

// surroundings say where the leads and the transmitter of one loop are.
type surroundings struct {
	outdoor float64 // share of the cable that runs outdoors
	sunK    float64 // how much full sun warms the outdoor part, K
	hot     float64 // share of the cable that takes the process's temperature
	room    float64 // offset of this hall or cabinet, K
}

// copper returns the temperature of the conductors.
func (s surroundings) copper(w weather, process float64) float64 {
	out := w.air + s.sunK*w.sun
	c := s.outdoor*out + (1-s.outdoor)*(w.hall+s.room)
	return c + s.hot*(process-c)
}

// device returns the temperature of the transmitter's terminals: in a cabinet
// indoors, or outdoors in the head or a box.
func (s surroundings) device(w weather) float64 {
	if s.outdoor > 0.5 {
		return w.air + 0.7*s.sunK*w.sun + 3
	}
	return w.hall + s.room + 4
}

func surroundingsOf(spec *Loop, key, box uint64) surroundings {
	s := surroundings{room: between(box, 1, -1.5, 2), hot: between(key, 2, 0, 0.03)}
	if spec.Outdoor {
		s.outdoor, s.sunK = between(box, 3, 0.75, 0.95), between(box, 4, 6, 14)
	}
	return s
}
