package follow

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/quantity"
)

// snapshotVersion is that of the layout below; another one is refused.
const snapshotVersion = 5

// header stands before the engine's own snapshot.
type header struct {
	Version uint16
	Kinds   uint16 // how many kinds are held: another number is another layout
	Drift   uint32
	Caused  bool
	Cable   bool
	Found   float64
	Loose   heldState
	Held    [len(heldKinds)]heldState
}

// heldState is held with times as Unix nanoseconds, 0 = none.
type heldState struct {
	Open            bool
	Run             uint8
	Leads, Severity uint8
	Since, Against  int64
}

// Snapshot returns the whole state of the loop, for Restore.
func (l *Loop) Snapshot(b []byte) []byte {
	h := header{Version: snapshotVersion, Kinds: uint16(len(heldKinds)), Drift: l.drift, Caused: l.caused, Cable: l.cable, Found: float64(l.found), Loose: stateOf(&l.loose)}
	for i := range l.held {
		h.Held[i] = stateOf(&l.held[i])
	}
	b, err := binary.Append(b, binary.LittleEndian, h)
	if err != nil { // the header has fixed-size fields only
		panic(fmt.Sprintf("follow: snapshot header: %v", err))
	}
	return l.engine.Snapshot(b)
}

// Restore takes over a state written by Snapshot for the same loop. A state of
// another version, or of a loop that is described otherwise, is refused and the
// loop stays as it was.
func (l *Loop) Restore(b []byte) error {
	var h header
	n, err := binary.Decode(b, binary.LittleEndian, &h)
	switch {
	case err != nil:
		return errors.New("snapshot is cut short")
	case h.Version != snapshotVersion || int(h.Kinds) != len(heldKinds):
		return fmt.Errorf("snapshot has layout %d with %d kinds, this program writes %d with %d", h.Version, h.Kinds, snapshotVersion, len(heldKinds))
	}
	if err := l.engine.Restore(b[n:]); err != nil {
		return err
	}
	l.drift, l.caused = h.Drift, h.Caused
	if l.found = quantity.Ohm(h.Found); l.found > 0 {
		l.assess.FoundCable(l.found)
	}
	if h.Cable {
		l.recabled()
	}
	l.loose = h.Loose.held()
	for i := range h.Held {
		l.held[i] = h.Held[i].held()
	}
	return nil
}

func stateOf(h *held) heldState {
	return heldState{h.open, h.run, uint8(h.leads), uint8(h.severity), nanos(h.since), nanos(h.against)}
}

func (x *heldState) held() held {
	return held{x.Open, x.Run, finding.LeadSet(x.Leads), finding.Severity(x.Severity), moment(x.Since), moment(x.Against)}
}

func nanos(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixNano()
}

func moment(n int64) time.Time {
	if n == 0 {
		return time.Time{}
	}
	return time.Unix(0, n).UTC()
}
