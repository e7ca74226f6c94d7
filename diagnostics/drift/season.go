package drift

import (
	"math"
	"slices"
)

// A core that lies in another tray than the rest of its cable, or in the sun,
// goes with the season as well, but more or less than they do. From the day's
// swing that cannot be told, for a tray lags by days. It shows over weeks: the
// level of one lead goes with the copper of the cable, warm spells and cold ones.
// A contact grows whatever the weather does, so the share of the temperature is
// found beside a steady growth,
//
//	u = m + s·(F − F̄) + g·(t − t̄)
//
// with F the copper factor of the last days and sums that fade. The season s·(F −
// F at the baseline) is taken off the lead; growth g is not. While a lead stands
// out nothing is learnt, or a contact would pass for a season.

const (
	// seasonLag is the weight of a block in F: four days. Trays and halls follow
	// the weather within days (the soil, within months).
	seasonLag = 1.0 / 16
	// seasonFade is how many blocks are remembered: sixty days, for what a spring
	// taught has to hold in summer.
	seasonFade = 240
	// seasonFar is how far a block may be from what is expected to teach, in mean
	// absolute residuals: work on a terminal and a wet day are no season.
	seasonFar = 6
	seasonOhm = 0.0026 // Ω, or this: sound leads stand for days at 2 to 2.6 mΩ
	// seasonPrior is how much a core's own temperature may go with that of the
	// cable: a quarter as much, as a standard deviation. It keeps s near nothing
	// while the weather has not told more.
	seasonPrior = 0.25
	// seasonTied is for how many blocks the slow drift of an input hangs together
	// beside a steady growth: ten days.
	seasonTied = 40
	// seasonSure: a slope of less than seven tenths of the standard deviation that
	// this drift gives it (a half, squared) is none, of one of two an eighth goes.
	seasonSure = 0.5
	// seasonMost is the largest s as a share of the lead: a core in the open beside
	// a cable in a heated hall.
	seasonMost = 1.5
	// seasonDoubt times what was taken off may be wrong: where the tray lags more or
	// less than F does, s comes out too small by as much.
	seasonDoubt = 1.5
)

// seasonState holds fading moments of F and of time, common to the leads, and of
// each lead against them.
type seasonState struct {
	F    float32 // copper factor of the last days
	Home float32 // the same in the baseline; 0 = still learning
	N    float32 // blocks
	T    float32 // blocks since the beginning
	MF   float32 // means
	MT   float32
	FF   float32 // variances
	FT   float32
	TT   float32
	Ch   [channels]seasonChannel
}

type seasonChannel struct {
	M  float32 // mean, Ω
	CF float32 // covariance with F, Ω
	CT float32 // with time, Ω
	UU float32 // variance, Ω²
}

// season takes a block with the contact parts c: what they have in common with
// the season, and what is taken off from now on.
func (e *Engine) season(f float64, c *[channels]float64) {
	s := &e.s.Season
	if s.N == 0 {
		s.F = float32(f)
	}
	s.F += seasonLag * (float32(f) - s.F)
	s.T++
	if e.s.Copper.Blocks > learnBlocks && s.Home == 0 {
		s.Home = s.MF
	}
	if e.seasonal(f, c) {
		e.learnSeason(f, c)
	}
	if s.Home != 0 && e.m.n > 1 {
		e.takeSeason()
	}
}

// takeSeason takes the season off each lead. What all leads have in common is
// copper: of the slopes as shares of the leads the middle one stands at zero, or
// the factor would follow them and they the factor.
func (e *Engine) takeSeason() {
	s, n := &e.s.Season, e.m.n
	var share, sorted [channels]float64
	for k := range n {
		ch := &e.s.Ch[k]
		b, _ := s.slope(k, ch)
		share[k] = b / ch.Base
	}
	sorted = share
	slices.Sort(sorted[:n])
	middle := (sorted[(n-1)/2] + sorted[n/2]) / 2
	for k := range n {
		ch := &e.s.Ch[k]
		ch.Season = float32((share[k] - middle) * ch.Base * float64(s.F-s.Home))
	}
}

// seasonal tells whether a block can teach: every lead is there and none stands
// out.
func (e *Engine) seasonal(f float64, c *[channels]float64) bool {
	if e.m.n < 2 {
		return false
	}
	for k := range e.m.n {
		ch := &e.s.Ch[k]
		if far := max(seasonFar*float64(ch.Scale), float64(e.s.Grid.Step), seasonOhm); !(math.Abs(c[k]-ch.usual(f)) < far) || ch.Flagged || e.spiking(k) || ch.Quiet > 0 && ch.Sigma > noiseMore*float64(ch.Quiet) {
			return false
		}
	}
	return true
}

func (e *Engine) learnSeason(f float64, c *[channels]float64) {
	s := &e.s.Season
	s.N = min(s.N+1, seasonFade)
	w := 1 / s.N
	df, dt := s.F-s.MF, s.T-s.MT
	s.MF += w * df
	s.MT += w * dt
	s.FF = (1 - w) * (s.FF + w*df*df)
	s.FT = (1 - w) * (s.FT + w*df*dt)
	s.TT = (1 - w) * (s.TT + w*dt*dt)
	for k := range e.m.n {
		x := &s.Ch[k]
		d := float32(c[k]-e.s.Ch[k].line(f)) - x.M
		x.M += w * d
		x.CF = (1 - w) * (x.CF + w*df*d)
		x.CT = (1 - w) * (x.CT + w*dt*d)
		x.UU = (1 - w) * (x.UU + w*d*d)
	}
}

// slope returns s of a channel and its standard deviation, Ω.
func (s *seasonState) slope(k int, ch *chState) (b, sd float64) {
	x := &s.Ch[k]
	if s.TT == 0 {
		return 0, seasonPrior * ch.Base
	}
	ff := float64(s.FF - s.FT*s.FT/s.TT) // what is left beside a steady growth
	cf := float64(x.CF - s.FT*x.CT/s.TT)
	if ff <= 0 {
		return 0, seasonPrior * ch.Base
	}
	noise, prior := math.Hypot(homeDrift, float64(ch.Scale)/2), seasonPrior*ch.Base
	v := noise * noise * seasonTied / float64(s.N)  // of the slope, times ff
	left := float64(x.UU-x.CT*x.CT/s.TT) - cf*cf/ff // what neither explains
	vs := max(noise*noise, left) * seasonTied / float64(s.N)
	b, sd = cf/(ff+v/(prior*prior)), math.Sqrt(vs/(ff+vs/(prior*prior)))
	most := seasonMost * ch.Base
	return min(max(b*max(0, 1-seasonSure*v/(ff*b*b+v*1e-6)), -most), most), sd
}

// seasonUnseen returns what the season may do to channel k that its leads have not
// shown yet: its slope is known as well as the weather so far tells, and the season
// has gone on since the baseline.
func (e *Engine) seasonUnseen(k int) float64 {
	s := &e.s.Season
	if e.m.n < 2 {
		return 0
	}
	home := s.Home
	if home == 0 {
		home = s.MF
	}
	_, sd := s.slope(k, &e.s.Ch[k])
	if e.m.n == 2 {
		sd /= 2 // their mean is the copper: half of a difference is either one's
	}
	return sd * math.Abs(float64(s.F-home))
}

// seasonOff returns the most that is taken off a lead of the loop, Ω. Taken off
// one it moves the factor, and so the others.
func (e *Engine) seasonOff() float64 {
	x := float32(0)
	for k := range e.m.n {
		x = max(x, e.s.Ch[k].Season, -e.s.Ch[k].Season)
	}
	return float64(x)
}
