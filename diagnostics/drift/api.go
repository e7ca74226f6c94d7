package drift

import (
	"time"

	"ohmdrift/diagnostics/finding"
	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// Version names the engine in every finding. It changes with every change that
// can change a result.
const Version = "drift/6"

// Mark is the spacing of the moments at which loops publish to their
// neighbours, counted from the Unix epoch.
const Mark = 10 * time.Minute

// Neighbour is what the loops of the same box or cable say about the copper, as
// of the previous mark. The zero value says nothing.
type Neighbour struct {
	Loops  int     // how many loops it comes from; 0 = nothing known
	Factor float64 // their copper resistance over that of their baselines, median, about 0.8 to 1.3
}

// Published is what one loop tells the plant level at a mark. It is a plain
// value; publishing allocates nothing.
type Published struct {
	Factor  float64         // copper factor against the loop's baseline; NaN = not known
	Kind    finding.Kind    // worst standing finding about a lead; empty = none
	Leads   finding.LeadSet // of that finding
	Since   time.Time       // its onset
	Rests   bool            // it has stood still for long and is information: it begins no common cause
	Contact quantity.Ohm    // its contact resistance; NaN = not known
	Share   float64         // its error as a share of the limit, 0 without a limit
	Reading quantity.DegC   // of the newest full slot, less the error that its leads are seen to make; NaN = not known
	ReadAt  time.Time       // beginning of that slot; zero = none yet
	Anew    time.Time       // when the loop was first followed, work on it last ended or its baseline accepted; zero = not followed yet
}

// Estimate is what is known of a loop over a span of time. Numbers that cannot
// be known from what the transmitter reports are NaN.
type Estimate struct {
	From, At     time.Time       // span that the estimate is about
	Error        quantity.DeltaC // median reading error of the span, indicated − true
	U            quantity.DeltaC // its expanded uncertainty, about 95 %
	Contact      measure.Leads   // contact resistance beyond copper since the baseline, Ω
	CopperFactor float64         // copper resistance over that of the baseline
}

// Entry is what a person wrote into the journal, as far as the engine cares.
type Entry uint8

// The journal entries.
const (
	FunctionCheck    Entry = iota // work on the loop has begun: samples do not count until one of the others, for a day at most
	CheckEnded                    // the function check is over, and nothing is said of what was done: go on with what was learnt
	WorkDone                      // work has ended: learn the loop anew
	BaselineAccepted              // the present state of the leads is the accepted one: learn anew from here
)

// View is what the engine saw and decided, for an explaining display. It is
// complete after each six-hour block.
type View struct {
	At        time.Time
	Block     time.Time                  // end of the newest block
	Factor    float64                    // copper factor of the block
	Middle    quantity.Ohm               // of two leads: how far what they have in common is from what the neighbours' copper makes of it, in the block; NaN = not known
	MiddleU   quantity.Ohm               // its scatter while the two were sound, mean absolute residual of a block
	Contact   measure.Leads              // contact part of each lead in the block, Ω
	Level     measure.Leads              // smoothed contact level, Ω
	Threshold measure.Leads              // level at which a drift is called, Ω
	Rule      [measure.LeadCount]string  // which rule gives the threshold
	Young     float64                    // factor on the thresholds while the baseline is young, else 1
	Noise     measure.Leads              // standard deviation of single values around the block, Ω
	NoiseBase measure.Leads              // the same in the baseline
	Swing     [measure.LeadCount]float64 // movement within days, standard deviation, Ω
	Spikes    [measure.LeadCount]float64 // excursions counted over about ten days
	Learnt    bool                       // the baseline is complete
	Standing  []finding.Kind             // open findings
}
