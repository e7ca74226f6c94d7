package drift

import "math"

// Medians of at most 36 values are taken many times a block, and in no order that
// a processor could guess: a sort that branches by the values pays for each wrong
// guess. The exchanges of a sorting network are the same whatever the values, and
// the smaller and the larger of two whole numbers need no branch at all.

// key is a float32 as a whole number that compares as the float does (IEEE 754:
// sign and magnitude).
type key int32

func keyOf(x float32) key {
	bits := key(math.Float32bits(x))
	return bits ^ bits>>31&math.MaxInt32
}

// value returns the number that a key stands for.
func (k key) value() float64 {
	return float64(math.Float32frombits(uint32(k ^ k>>31&math.MaxInt32)))
}

// sorted puts the numbers among x, in ascending order, at the beginning of buf and
// returns them; NaN are left out. It takes len(buf) values at most.
func sorted(x []float32, buf *[slotsPerBlock]key) []key {
	n := 0
	for _, v := range x {
		if v == v {
			buf[n] = keyOf(v)
			n++
		}
	}
	if n <= few {
		insertion(buf[:n])
	} else {
		network(buf[:n])
	}
	return buf[:n]
}

// few is up to how many numbers insertion is the faster: at twelve it takes 73 ns
// and the network 123, at 36 two times as long.
const few = 12

// insertion lets each number pass by those before it, which are sorted.
func insertion(x []key) {
	for n, v := range x {
		for i, w := range x[:n] {
			x[i], v = min(w, v), max(w, v)
		}
		x[n] = v
	}
}

// network sorts by Batcher's merge exchange (Knuth, The Art of Computer
// Programming 3, algorithm 5.2.2M): for every p, 2p … 1, a merge of what is p
// apart.
func network(x []key) {
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
func exchange(x []key, p, r, d uint) {
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
