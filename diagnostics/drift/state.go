package drift

// Lengths of time in s.
const (
	slotS  = 600       // one value each: the mark spacing, and the interval of slow plants
	hourS  = 3600      // of estimates and of jumps
	blockS = 6 * hourS // long enough for a robust median of 36 slots, short enough to see the day's swing
	dayS   = 24 * hourS
)

const (
	slotsPerBlock = blockS / slotS
	recent        = 12 // blocks kept of each channel: three days
)

// state is everything that changes in an engine. It has fixed-size fields only,
// so that a snapshot is its bytes and a copy is a copy.
type state struct {
	Last     int64   // time of the newest sample, s
	Step     float32 // smoothed sampling interval, s
	Hold     int64   // then the function check that is on ends by itself, s
	Work     bool    // a function check is on
	Anew     int64   // when it was first followed, work last ended or a baseline accepted, s
	Read     readState
	Balanced uint8  // blocks in a row that one lead is as much higher as another is lower
	TwoRose  bool   // of three leads two have risen: the lowest one is copper
	Beyond   bool   // the error is beyond its limit, by the samples of the last minutes
	Low      uint8  // blocks in a row with a lead far below the others
	Longer   uint8  // blocks in a row in which a lead that stepped looked like new copper
	Other    uint8  // blocks in a row in which the standing contact finding looked like another kind
	Sound    uint16 // blocks in a row without a claim about a contact
	Hiss     hissState
	Heat     heatState
	Pair     pairState
	Filter   filterState
	Season   seasonState
	Sensor   sensorState
	Slot     slotState
	Block    blockState
	Ch       [channels]chState
	Copper   copperState
	Grid     gridState
	Open     openState
	Error    errorState
	Still    stillState
	Found    [topics]record
}

// readState is what partners are told.
type readState struct {
	At    int64   // beginning of the newest full slot, s
	Value float64 // its reading less the error that the leads are seen to make, °C
}

// picks is how many samples a slot keeps at most, spread evenly over it: their
// median shrugs off four bad ones.
const picks = 9

// slotState gathers the samples of one slot.
type slotState struct {
	Index int64 // time / slotS; 0 = empty
	N     uint8
	R     [channels][picks]float32 // Ω as reported; NaN = none
	T     [picks]float32           // reading, °C
}

// blockState holds the slots of the running block.
type blockState struct {
	Index int64 // time / blockS
	N     uint8
	R     [channels][slotsPerBlock]float32 // Ω as reported; NaN = none
	F     [slotsPerBlock]float32           // copper factor; 1 before there is a baseline
	T     [slotsPerBlock]float32           // reading, °C
}

// chState is what is known of one channel.
type chState struct {
	Base    float64 // Ω at copper factor 1; 0 = not known yet
	Track   float64 // contact part taken off before the copper factor is formed, Ω
	Sigma   float64 // standard deviation of single values, Ω, of the last block
	Quiet   float32 // the same in the baseline
	QuietN  float32
	Fit     fit     // of the contact part on the copper factor, in the baseline
	Season  float32 // what the season adds to it now, Ω
	Scale   float32 // mean absolute residual of a block in the baseline, Ω
	ScaleN  float32
	Diff    float32 // Σ of squared winsorised differences in the running block
	DiffN   uint16
	Prev    float32 // residual of the last sample, for differences
	PrevOK  bool
	Calmly  float32         // residual that excursions start from and return to, Ω
	U       [recent]float32 // residuals of the last blocks, newest last
	UN      uint8
	Flagged bool    // above 0.6 of its threshold: no longer learnt from
	Risen   bool    // it came slowly to a good part of its threshold
	Above   uint8   // blocks in a row that the level of two days is beyond its threshold
	Over    uint8   // the same, of that level or of the last blocks
	Rise    int64   // when it was last near zero, s
	Peak    float64 // highest level of the last weeks, Ω
	Jump    float64 // largest change between two blocks since Rise, Ω
	JumpAt  int64   // end of the block in which that was largest, s: some two blocks after it
	Turn    float32 // last extreme of the level, Ω
	Turns   uint8   // times that it turned by a good part of its peak
	Down    bool    // it is falling since
	Lag     uint8   // how long before JumpAt the six hours of the jump begin, in halves of a block
	Swing   swing
	Couple  coupleState
	Swings  uint8   // blocks in a row with more swing than usual
	Calm    float32 // largest swing seen in the baseline, Ω
	Spike   spikeState
}

// swing holds fading moments of what moves within days: residual u against the
// copper factor f.
type swing struct {
	UU, FF, UF float32
	Day        [4]float32 // mean residual by quarter of the day
}

// fit is a straight line c = a + b (f − 1) by its running sums.
type fit struct{ N, F, FF, C, FC float32 }

// copperState is what is known of the copper common to the channels.
type copperState struct {
	F        float64 // of the newest sample
	Known    bool
	Alone    bool            // a single sum without neighbours: its copper cannot be known
	Moved    verdict         // which lead of a pair moved, as its neighbours say
	Loops    uint8           // neighbours of a pair whose middle is known; 0 = other ones speak now, or nobody
	Ring     [recent]float32 // block medians
	Temp     [recent]float32 // block medians of the reading, °C
	N        uint8
	Blocks   uint32  // blocks since the baseline began
	Slot     float64 // factor of the last slot
	JumpAt   int64   // when it jumped, s; 0 = no jump to be judged
	JumpFrom float64 // factor before
	Carried  float64 // factor at which the baseline began, less 1
	JumpWait uint8   // blocks looked at since
	Off      float32 // how far the neighbours of a pair are beyond the copper that its line was learnt on, Ω
	Full     int64   // last sample with every lead, s
	GapAt    int64   // when the leads were last back after a time without, s
	Device   float64 // newest temperature that the transmitter sent, °C
	Sends    bool    // the newest sample had one
	HomeT    float64 // the same when the baseline of a sum that rests on it began
	ByDevice bool    // a single sum is held against the temperature of the transmitter
	Heard    bool    // neighbours have said something
	Sum      float64 // value of a single sum when it was last calm, Ω; 0 = not yet
}
