package drift

// stepSeen is the share of a jump from which a block has seen it, and stepPart that
// up to which it has seen a part of it: the mean of the middle half of a block
// (core) that steps between its quarters is in between.
const stepSeen, stepPart = 0.25, 0.75

// halfBlock is the step in which a jump is dated, s.
const halfBlock = blockS / 2

// lag returns how long before the end of the newest block, in halves of a block, the
// six hours begin in which a jump by j happened. A block that saw a part of it is
// where it was; one that saw all of it begins where it was, give or take a quarter.
func (c *chState) lag(j float64) uint8 {
	const looked = 6 // blocks that the jump was found in
	then := median32(c.U[recent-looked : recent-2])
	for i := recent - looked + 1; i < recent; i++ {
		seen := (float64(c.U[i]) - then) / j
		if !(seen > stepSeen) {
			continue
		}
		lag := 2 * uint8(recent-i)
		if seen > stepPart {
			lag++
		}
		return lag
	}
	return 2 * 2 // what a median hides: the older of the two blocks after it
}

// stepped returns the six hours in which a channel jumped.
func (c *chState) stepped() (from, to int64) {
	from = c.JumpAt - int64(c.Lag)*halfBlock
	return from, from + blockS
}

// when tells in words when a channel jumped.
func (c *chState) when() string {
	from, to := c.stepped()
	return "between " + clock(from) + " and " + clock(to)
}
