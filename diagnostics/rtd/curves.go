package rtd

// The curves. Each coefficient set names the standard or convention it belongs
// to; public code mixes several of them up, so none may be "corrected" to look
// like another.
var (
	// IEC 60751:2008 and :2022, also ASTM E1137 up to 650 °C.
	platinum3851 = newCurve(curve{low: -200, high: 850, form: cvd, c: [6]float64{3.9083e-3, -5.775e-7, -4.183e-12}})
	// GOST 6651-2009 "П".
	platinum3911 = newCurve(curve{low: -200, high: 850, form: cvd, c: [6]float64{3.9690e-3, -5.841e-7, -4.330e-12}})
	// Older US set, 0.016 Ω away from GOST at −200 °C (100 Ω).
	platinum3911US = newCurve(curve{low: -200, high: 850, form: cvd, c: [6]float64{3.9692e-3, -5.8495e-7, -4.2325e-12}})
	// Legacy Japanese curve (JIS C 1604, JPt100); from memory of the standard, B fits its printed table.
	platinum3916 = newCurve(curve{low: -200, high: 650, form: cvd, c: [6]float64{3.9739e-3, -5.870e-7, -4.4e-12}})
	// US SAMA; its α is 0.0039200 although 0.003923 is printed.
	platinum3920 = newCurve(curve{low: -200, high: 600, form: cvd, c: [6]float64{3.97869e-3, -5.86863e-7, -4.16696e-12}})
	// Old US laboratory platinum, often mislabelled as ITS-90 or DIN 43760.
	platinum3926 = newCurve(curve{low: -200, high: 600, form: cvd, c: [6]float64{3.9848e-3, -5.870e-7, -4.0e-12}})

	// GOST 6651-2009 copper, α 0.00428.
	copper428 = newCurve(curve{low: -180, high: 200, form: copperGOST, c: [6]float64{4.28e-3, -6.2032e-7, 6.7, 8.5154e-10}})
	// GOST copper, α 0.00426: linear.
	copper426 = newCurve(curve{low: -50, high: 200, form: copperGOST, c: [6]float64{4.26e-3}})
	// Copper of motor windings, 10 Ω at 25 °C.
	copper427 = newCopper427()

	// GOST 6651-2009 nickel, α 0.00617.
	nickel617 = newCurve(curve{low: -60, high: 180, form: nickelGOST, c: [6]float64{5.4963e-3, 6.7556e-6, 9.2004e-9}})
	// DIN 43760 nickel (withdrawn), α 0.00618.
	nickel618 = newCurve(curve{low: -60, high: 250, form: nickelDIN, c: [6]float64{5.485e-3, 6.65e-6, 2.805e-11, -2e-17}})
	// Ni120, α 0.00672, by its table.
	nickel672 = newNickel672()
)

// The table of Ni120 as printed in a published temperature-input manual; the
// −80 and 260 °C points come from a second public source. The table goes on to
// 300 °C, the curve ends at 260 °C.
var (
	ni120Temps = []float64{
		-80, -50, -40, -30, -20, -10, 0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100, 150, 200, 250, 260, 300,
	}
	ni120Ohms = []float64{
		66.6, 86.17, 92.76, 99.41, 106.15, 113.0, 120.0, 127.17, 134.52, 142.06, 149.79, 157.74, 165.9, 174.25,
		182.84, 191.64, 200.64, 248.95, 303.46, 366.53, 380.3099, 439.44,
	}
)

func newNickel672() *curve {
	return mustTable(ni120Temps, ni120Ohms, 120, -80, 260)
}

// newCopper427 joins the straight line 9.035·(1 + 0.004274 t) of −50..150 °C to
// the printed table beyond: the nodes at −50 and 150 °C take the line's value
// and slope, so that the curve between them is the line itself.
func newCopper427() *curve {
	const r0, alpha = 9.035, 0.004274
	c := mustTable(
		[]float64{-200, -150, -100, -50, 150, 200},
		[]float64{1.058, 3.113, 5.128, r0 * (1 - 50*alpha), r0 * (1 + 150*alpha), 16.776},
		r0, -200, 200)
	for i := range c.nodes {
		if t := c.nodes[i].t; t == -50 || t == 150 {
			c.nodes[i].slope = alpha
		}
	}
	return c
}

// mustTable builds a table curve from the constants of this file; a test
// inverts every node, so a fault here cannot reach a user.
func mustTable(ts, ohms []float64, r0, low, high float64) *curve {
	ws := make([]float64, len(ohms))
	for i, r := range ohms {
		ws[i] = r / r0
	}
	nodes, err := newNodes(ts, ws)
	if err != nil {
		panic(err)
	}
	return newCurve(curve{low: low, high: high, form: table, nodes: nodes})
}
