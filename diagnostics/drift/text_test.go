package drift

import "testing"

func TestOhms(t *testing.T) {
	for x, want := range map[float64]string{
		0: "0.0 mΩ", 0.00314: "3.1 mΩ", -0.0241: "−24.1 mΩ", 0.0996: "99.6 mΩ", 0.09996: "100 mΩ", 0.9994: "999 mΩ", 0.9996: "1.00 Ω", -1.056: "−1.06 Ω",
	} {
		if got := ohms(x); got != want {
			t.Errorf("ohms(%g) = %q, want %q", x, got, want)
		}
	}
}

// A minus sign is no hyphen; dates and kinds keep theirs.
func TestSay(t *testing.T) {
	const want = "b1 by −2.0 % (cable −0.41) on 2026-03-02, lead-drift"
	if got := say("b1 by %+.1f %% (cable %.2f) on %s, lead-drift", -2.0, -0.41, day(testStart.Unix())); got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestLookFor(t *testing.T) {
	if a, b := lookFor(otherFor), lookFor(3*otherFor); a != "a day" || b != "3 days" {
		t.Errorf("got %q and %q, want a day and 3 days", a, b)
	}
}
