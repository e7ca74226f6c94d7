package drift

import "math"

// Medians of at most 36 values are taken many times a block, and in no order that
// a processor could guess: a sort that branches by the values pays for each wrong
// guess. The exchanges of a sorting network are the same whatever the values, and
// the smaller and the larger of two whole numbers need no branch at all.

// sorted puts the numbers among x, in ascending order, at the beginning of buf and
// returns them; NaN are left out. It takes len(buf) values at most.
func sorted(x []float32, buf *[slotsPerBlock]float32) []float32 {
	var key [slotsPerBlock]int32
	n := 0
	for _, v := range x {
		if v == v {
			key[n] = inOrder(int32(math.Float32bits(v)))
			n++
		}
	}
	network(key[:n])
	for i, k := range key[:n] {
		buf[i] = math.Float32frombits(uint32(inOrder(k)))
	}
	return buf[:n]
}

// inOrder turns the bits of a float32 into a whole number that compares as the
// float does (IEEE 754: sign and magnitude), and such a number back.
func inOrder(bits int32) int32 { return bits ^ bits>>31&math.MaxInt32 }

// network sorts by Batcher's merge exchange (Knuth, The Art of Computer
// Programming 3, algorithm 5.2.2M): for every p, 2p … 1, a merge of what is p
// apart.
func network(x []int32) {
	top := uint(1)
	for top < uint(len(x)) {
		top *= 2
	}
	for p := top / 2; p > 0; p /= 2 {
		q, r, d := top/2, uint(0), p
		for {
			exchange(x, p, r, d)
			if q == p {
				break
			}
			d, q, r = q-p, q/2, p
		}
	}
}

// exchange orders x[i] and x[i+d] for every i whose bit p is that of r: runs of p
// numbers that lie 2p apart.
func exchange(x []int32, p, r, d uint) {
	if d >= uint(len(x)) {
		return
	}
	b := x[d:]
	a := x[:len(b)]
	for from := r; from < uint(len(a)); from += 2 * p {
		for i := from; i < min(from+p, uint(len(a))); i++ {
			v, w := a[i], b[i]
			a[i], b[i] = min(v, w), max(v, w)
		}
	}
}
