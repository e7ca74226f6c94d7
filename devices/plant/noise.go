package plant

import "math"

// Every random number of the plant is a hash of (key, position, channel): the
// same wherever and in whatever order it is asked for.

// The channels keep the random numbers of one loop apart.
const (
	chLead     = iota // one channel per lead follows
	chSensor   = 8
	chDevice   = 9
	chContact  = 10
	chSlot     = 11
	chProcess  = 12
	chLeak     = 13
	chEMF      = 14
	chBurst    = 15
	chPair     = 16 // one channel per pair follows
	chFretting = 24 // one channel per lead follows
	chStatic   = 32 // values that do not change with time
)

// mix is the finaliser of splitmix64 (Steele, Lea, Flood 2014).
func mix(z uint64) uint64 {
	z += 0x9e3779b97f4a7c15
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

func hash(key, at, channel uint64) uint64 {
	return mix(key ^ at*0x9e3779b97f4a7c15 ^ channel*0xd1342543de82ef95)
}

// hashString is FNV-1a.
func hashString(s string) uint64 {
	h := uint64(0xcbf29ce484222325)
	for i := range len(s) {
		h = (h ^ uint64(s[i])) * 0x100000001b3
	}
	return h
}

// uniform is in [0, 1).
func uniform(key, at, channel uint64) float64 {
	return float64(hash(key, at, channel)>>11) / (1 << 53)
}

// between is uniform in [lo, hi).
func between(key, channel uint64, lo, hi float64) float64 {
	return lo + (hi-lo)*uniform(key, 0, chStatic+channel)
}

// gauss is nearly normal with mean 0 and standard deviation 1: the sum of four
// 16-bit uniforms (Irwin–Hall), which ends at ±3.46 as the noise of a filtered
// converter does, and costs one hash.
func gauss(key, at, channel uint64) float64 {
	h := hash(key, at, channel)
	sum := h&0xffff + h>>16&0xffff + h>>32&0xffff + h>>48
	return (float64(sum)/65536 - 2 + 2.0/65536) * sqrt3 // four uniforms have variance 4/12
}

const sqrt3 = 1.7320508075688772

// wander is smooth noise of about ±1 with a knot every period (s): values of
// hashes joined by smoothstep.
func wander(key uint64, t, period float64, channel uint64) float64 {
	p := t / period
	i := math.Floor(p)
	f := p - i
	k := uint64(int64(i))
	a, b := uniform(key, k, channel), uniform(key, k+1, channel)
	return 2*(a+(b-a)*f*f*(3-2*f)) - 1
}
