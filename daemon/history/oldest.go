package history

import (
	"math"
	"time"
)

// Oldest returns the time of the oldest stored number of all loops, as of the
// last flush; zero when nothing is stored.
func (h *History) Oldest() time.Time {
	h.dbMu.RLock()
	defer h.dbMu.RUnlock()
	if h.db == nil {
		return time.Time{}
	}
	oldest := int64(math.MaxInt64)
	if t := h.db.Head().MinTime(); t != math.MaxInt64 {
		oldest = t
	}
	for _, b := range h.db.Blocks() {
		oldest = min(oldest, b.Meta().MinTime)
	}
	if oldest == math.MaxInt64 {
		return time.Time{}
	}
	return time.UnixMilli(oldest).UTC()
}
