package copper

// maxPerKm are the maximum conductor resistances of IEC 60228 at 20 °C in Ω/km.
type maxPerKm struct{ area, solid, solidCoated, flexible, flexibleCoated float64 }

var iec60228 = []maxPerKm{
	{0.5, 36.0, 36.7, 39.0, 40.1},
	{0.75, 24.5, 24.8, 26.0, 26.7},
	{1.0, 18.1, 18.2, 19.5, 20.0},
	{1.5, 12.1, 12.2, 13.3, 13.7},
	{2.5, 7.41, 7.56, 7.98, 8.21},
}

// lookup60228 returns the maximum in Ω/m; ok is false for sizes not listed.
func lookup60228(area float64, class int, coated bool) (perMetre float64, ok bool) {
	for _, r := range iec60228 {
		if r.area != area {
			continue
		}
		switch {
		case class == 5 && coated:
			return r.flexibleCoated / 1e3, true
		case class == 5:
			return r.flexible / 1e3, true
		case coated:
			return r.solidCoated / 1e3, true
		}
		return r.solid / 1e3, true
	}
	return 0, false
}
