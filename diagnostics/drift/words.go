package drift

import "math"

// Sentences of evidence on a contact, one for each kind and rule.

// saySpikes begins with the rule that the excursions of channel k met.
func (e *Engine) saySpikes(k int) string {
	s, name := &e.s.Ch[k].Spike, e.m.name(k)
	sure, all := e.spikeNeed(k)
	size := say("%s on average (at least %s), in about ten days (older ones fade)", ohms(float64(s.Size)), ohms(e.spikeWorth(k)))
	switch {
	case s.confirmed(sure):
		return say("%.1f short rises of %s are seen in the sensor value as well (called from %.1f): %s; %.1f in all", s.Sure, name, sure, size, s.Sure+s.Maybe)
	case s.frequent(all):
		return say("%.1f short rises of %s go on for longer than a shift (called from %.1f): %s; %.1f of them are seen in the sensor value as well", s.Sure+s.Maybe, name, all, size, s.Sure)
	}
	if e.onceOnly(k) {
		return say("%s rose by %s at %s and came back, alone in the hour before and after, and the sensor value moved with it as it must: odds of over %.0f : 1 against bad values, of %.1f short rises in about ten days; a clamp that holds does not do that, nor does a lead that is taken off; if somebody worked there, enter it",
			name, ohms(float64(s.Size)), clock(int64(s.Spell)*slotS), math.Round(math.Exp(plainOdds)/100)*100, s.Sure+s.Maybe)
	}
	rose := ""
	if s.Odds < oddsCall {
		rose = say(", and %.0f times that since the lead came slowly to over %.0f %% of its threshold", math.Exp(risenOdds), risenShare*100)
	}
	return say("odds of %s : 1 against bad values%s (called from %.0f : 1) are those of %.1f short rises of %s: %s; %.1f of them are seen in the sensor value as well",
		s.odds(), rose, math.Round(math.Exp(oddsCall)/1000)*1000, s.Sure+s.Maybe, name, size, s.Sure)
}

// sayBelow is of a voltage by the level that it has.
func (e *Engine) sayBelow(k int, p *picture) string {
	x := e.s.Ch[k].Swing.size()
	return say("%s is %s below its copper (median of two days, threshold %s) and came there slowly; it moves by ±%s within days: no contact can lower a lead, a voltage can",
		e.m.name(k), ohms(-p.level[k]), ohms(e.fallWorth(k, p, e.fallLeast(k))), ohms(x))
}

// sayNoise is of single values that scatter.
func (e *Engine) sayNoise(k int, p *picture) string {
	return say("single values of %s scatter by ±%s more than those of the other leads (threshold %s), %.2f times as much as in the baseline against every other lead (threshold %.2f)",
		e.m.name(k), ohms(e.noise(k)), ohms(min(e.noiseWorth(k, p), e.crackleWorth(k, p))), math.Exp(e.s.Hiss.alone(k, e.m.n)), math.Exp(e.s.Hiss.louder()))
}

// sayVoltage is of one by what moves it.
func (e *Engine) sayVoltage(k int, p *picture) string {
	x, g := e.s.Ch[k].Swing.size(), e.coupling(k)
	return say("%s moves by ±%s within days around %s (threshold %s), copper taken off, as a voltage between the head of a process at %.0f °C and its box does: their temperature difference explains %.0f %% of it (called from %.0f %% where the process moves, else from %.0f %%), %.2g mΩ/K, and its level is to that side: a junction of two metals, not a contact",
		e.m.name(k), ohms(x), ohms(p.level[k]), ohms(p.limit[k]), p.t, g.share*100, coupleShare*100.0, coupleStill*100.0, g.gain*1e3)
}

// sayShift is of a contact that opens by the clock.
func (e *Engine) sayShift(k int, p *picture) string {
	s := &e.s.Ch[k].Swing
	x, f, d := s.size(), s.byCopper(), s.byDay()
	return say("%s comes and goes by the hour of the day by ±%s around %s (threshold %s), copper taken off: %.0f %% of it repeats daily and the temperature of the cable explains %.0f %% (called so from %.0f %% more), so it is what happens then (vibration of a shift), not warmth",
		e.m.name(k), ohms(x), ohms(p.level[k]), ohms(p.limit[k]), d*100, f*f*100, clockShare*100)
}

// fromCopper and fromDay are the correlation with the temperature of the cable, and
// the share that repeats daily, from which a movement is said to go with them: a sixth
// of it, and a quarter.
const fromCopper, fromDay = 0.4, 0.25

// sayThermal is of a contact that moves with warmth, in words that its numbers bear.
func (e *Engine) sayThermal(k int, p *picture) string {
	s := &e.s.Ch[k].Swing
	f, d, calm := s.byCopper(), s.byDay(), ohms(float64(e.s.Ch[k].Calm))
	moves := say("%s moves by ±%s within days around %s (threshold %s), copper taken off", e.m.name(k), ohms(s.size()), ohms(p.level[k]), ohms(p.limit[k]))
	switch {
	case math.Abs(f) >= fromCopper:
		return moves + say(", with the temperature of the cable (correlation %.2f, %.0f %% of it repeats daily; in the baseline it moved by at most ±%s)", f, d*100, calm)
	case d >= fromDay:
		return moves + say(", and %.0f %% of it repeats daily (correlation with the temperature of the cable %.2f; in the baseline it moved by at most ±%s)", d*100, f, calm)
	}
	return moves + say(", more than a steady contact would and hardly with the temperature of the cable (correlation %.2f, %.0f %% of it repeats daily; in the baseline it moved by at most ±%s)", f, d*100, calm)
}

// sayTurns is of a contact that follows wet and dry spells.
func (e *Engine) sayTurns(k int, p *picture) string {
	ch := &e.s.Ch[k]
	return say("the contact of %s came and went over days: %d turns (called so from %d) of %.0f %% of its peak of %s or more; now %s, threshold %s",
		e.m.name(k), ch.Turns, wetTurns, turnShare*100, ohms(ch.Peak), ohms(p.level[k]), ohms(p.limit[k]))
}

// sayReturns is of a contact that moves by itself.
func (e *Engine) sayReturns(k int, p *picture) string {
	s := &e.s.Ch[k].Swing
	x, f := s.size(), s.byCopper()
	return say("%s comes and goes within days by ±%s around %s (threshold %s), copper taken off, and with no temperature (correlation with that of the cable %.2f, of the process %.2f)",
		e.m.name(k), ohms(x), ohms(p.level[k]), ohms(p.limit[k]), f, e.coupling(k).process)
}

// sayStep is of a contact that jumped.
func (e *Engine) sayStep(k int, p *picture) string {
	ch := &e.s.Ch[k]
	return say("%s rose by %s %s and stayed: now %s beyond its copper, threshold %s (%s)",
		e.m.name(k), ohms(ch.Jump), ch.when(), ohms(p.quick[k]), ohms(p.limit[k]), e.rule(k, p))
}

// sayDrift is of a contact that rose.
func (e *Engine) sayDrift(k int, p *picture) string {
	ch := &e.s.Ch[k]
	level, over := p.level[k], "two days"
	if level < p.limit[k] { // too new for it
		level, over = p.quick[k], "18 hours"
	}
	return say("%s is %s beyond its copper (median of %s), threshold %s (%s); it was last near its baseline on %s",
		e.m.name(k), ohms(level), over, ohms(p.limit[k]), e.rule(k, p), day(ch.Rise))
}

// sayClimb says that a channel rose through two days.
func (e *Engine) sayClimb(k int, p *picture) string {
	u := e.s.Ch[k].U[recent-climbBlocks:]
	return say("%s climbed for two days without a rest, every block of six hours above that of the day before: by %s, to %s beyond its copper (median of 18 hours), threshold %s (%s)",
		e.m.name(k), ohms(float64(u[climbBlocks-1]-u[0])), ohms(p.quick[k]), ohms(p.limit[k]), e.rule(k, p))
}
