package poll

import (
	"fmt"
	"maps"

	"ohmdrift/devices"
)

// Memory is what polling has learned of loops and devices over days: enough to
// go on after a restart as if there had been none, and to notice a device that
// was exchanged meanwhile. It is plain data for JSON.
type Memory struct {
	Loops map[string]LoopMemory       `json:"loops"` // by tag
	Units map[string]devices.Identity `json:"units"` // by link name and unit, as in mcc1/7
}

// LoopMemory is what is known of one loop's habits. It counts only for the same
// unit, base and profile.
type LoopMemory struct {
	Unit     uint8   `json:"unit"`
	Base     uint16  `json:"base"`
	Profile  string  `json:"profile"`
	Quietest float64 `json:"quietest"` // least share of polls that brought something new, 0..1
	Longest  int     `json:"longest"`  // longest run of equal answers that ended by itself
	Learned  int     `json:"learned"`  // stretches of polls behind these
	Decimals []uint8 `json:"decimals"` // finest decimals of each quantity, plus one
}

// Memory returns what has been learned so far, also before and after Run.
func (p *Poller) Memory() Memory {
	p.mu.Lock()
	links := p.links
	m := p.host.memory.clone()
	p.mu.Unlock()
	for _, l := range links {
		l.inbox.mu.Lock()
		maps.Copy(m.Loops, l.inbox.memory.Loops)
		maps.Copy(m.Units, l.inbox.memory.Units)
		l.inbox.mu.Unlock()
	}
	return m
}

func (m Memory) clone() Memory {
	c := Memory{Loops: map[string]LoopMemory{}, Units: map[string]devices.Identity{}}
	maps.Copy(c.Loops, m.Loops)
	maps.Copy(c.Units, m.Units)
	return c
}

// remember publishes what a loop has just learned.
func (r *runner) remember(m *member) {
	f := &m.state.freeze
	l := LoopMemory{
		Unit: m.key.unit, Base: m.key.base, Profile: m.key.profile,
		Quietest: f.quietest, Longest: f.longest, Learned: f.learned,
		Decimals: append([]uint8(nil), m.state.print.known[:]...),
	}
	r.inbox.mu.Lock()
	defer r.inbox.mu.Unlock()
	r.inbox.memory.Loops[m.key.tag] = l
}

// rememberUnit publishes a name plate.
func (r *runner) rememberUnit(u *unit) {
	r.inbox.mu.Lock()
	defer r.inbox.mu.Unlock()
	r.inbox.memory.Units[unitName(r.cfg.Name, u.id)] = u.identity
}

// recall returns the state of a loop that this run has not polled yet.
func (h *host) recall(k loopKey) *loopState {
	s := &loopState{}
	l, ok := h.memory.Loops[k.tag]
	if !ok || l.Unit != k.unit || l.Base != k.base || l.Profile != k.profile {
		return s
	}
	s.freeze.quietest, s.freeze.longest, s.freeze.learned = l.Quietest, l.Longest, l.Learned
	copy(s.print.known[:], l.Decimals)
	return s
}

func unitName(link string, id uint8) string { return fmt.Sprintf("%s/%d", link, id) }
