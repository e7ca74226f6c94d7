package replay

import (
	"bytes"
	"math"
	"strconv"
)

// powers of ten that float64 holds exactly.
var powers = [...]float64{
	1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
}

// maxExact is the most decimal digits of which any number is an integer below
// 2^53. Such a number divided by an exact power of ten is correctly rounded, as
// strconv would give it (Clinger 1990).
const maxExact = 15

// number reads a value: empty and NaN mean not available. Plain decimals are
// read here, everything else by strconv. ok is false for what is no finite
// number.
func number(b []byte) (v float64, ok bool) {
	if len(b) == 0 {
		return math.NaN(), true
	}
	i := 0
	negative := b[0] == '-'
	if negative {
		i++
	}
	mantissa, digits, fraction := uint64(0), 0, -1
	for ; i < len(b); i++ {
		c := b[i]
		switch {
		case c >= '0' && c <= '9':
			mantissa = mantissa*10 + uint64(c-'0')
			digits++
		case c == '.' && fraction < 0:
			fraction = digits
		default:
			return slowNumber(b)
		}
		if digits > maxExact {
			return slowNumber(b)
		}
	}
	if digits == 0 {
		return slowNumber(b)
	}
	v = float64(mantissa)
	if fraction >= 0 {
		v /= powers[digits-fraction]
	}
	if negative {
		v = -v
	}
	return v, true
}

// slowNumber is the strict way for blanks around, exponents, many digits, NaN.
func slowNumber(b []byte) (float64, bool) {
	b = bytes.TrimSpace(b)
	if len(b) == 0 || bytes.EqualFold(b, []byte("nan")) {
		return math.NaN(), true
	}
	if bytes.ContainsAny(b, "_xX") { // forms of Go source, not of data
		return 0, false
	}
	v, err := strconv.ParseFloat(string(b), 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, false
	}
	return v, true
}
