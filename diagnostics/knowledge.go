package diagnostics

// Knowledge is how a quantity of a loop is known.
type Knowledge uint8

// The ways, best last; the zero value is the one that promises nothing.
const (
	Invisible Knowledge = iota // nothing reported tells it
	Bounded                    // only limits are known
	Inferred                   // follows from what is reported under a stated assumption
	Measured                   // reported, or computed from reported values alone
)

var knowledgeNames = [...]string{"invisible", "bounded", "inferred", "measured"}

// String returns measured, inferred, bounded or invisible.
func (k Knowledge) String() string { return knowledgeNames[min(int(k), len(knowledgeNames)-1)] }
