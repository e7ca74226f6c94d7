package drift

// A contact that fails within weeks is far beyond its threshold before two days
// agree, and its first days look like a step that may settle. Nothing sound climbs
// for two days without a rest: work comes at once, what settles falls, and what the
// sun or a hot line does has come back when the same hour of the next day is there.
const (
	climbBlocks = 8 // two days
	// climbTimes is how many thresholds the last blocks must be beyond.
	climbTimes = 2
	// climbDay is by how much of a threshold each block of the second day must be
	// above that of the first.
	climbDay = 0.5
	// climbStep is the share of the rise that two blocks may have: a step has all of
	// it, also where it fell into the middle of a block.
	climbStep = 0.5
	// climbMost is the share of the level that must have come in these two days.
	climbMost = 0.5
	// climbBack is the share of the rise by which a block may be below the one before.
	climbBack = 0.1
)

// climbing tells whether a channel rose through two days, block by block.
func (e *Engine) climbing(k int, p *picture) bool {
	c, x := &e.s.Ch[k], p.limit[k]
	if e.m.n < 2 || c.UN < climbBlocks || !(p.quick[k] > climbTimes*x && p.newest[k] > climbTimes*x) || e.doubtful(k, p) || e.evened(k, p) {
		return false
	}
	u := c.U[recent-climbBlocks:]
	rose := u[climbBlocks-1] - u[0]
	if !(float64(rose) > climbMost*p.quick[k]) { // most of it was there before
		return false
	}
	for i := range climbBlocks {
		switch {
		case i >= aDay && !(float64(u[i]-u[i-aDay]) > climbDay*x),
			i >= 2 && !(u[i]-u[i-2] < climbStep*rose),
			i >= 1 && !(u[i]-u[i-1] > -climbBack*rose):
			return false
		}
	}
	return true
}
