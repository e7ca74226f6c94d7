package drift

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Network and insertion give what the sort of the standard library gives, for
// every length that a block can have. By the zero-one principle (Knuth 5.3.4,
// theorem Z) a network that sorts all sequences of zeros and ones sorts
// everything, and insertion without branches is one.
func TestNetworkSorts(t *testing.T) {
	for n := range 17 {
		for bits := range 1 << n {
			x := make([]key, n)
			for i := range x {
				x[i] = key(bits >> i & 1)
			}
			y := slices.Clone(x)
			network(x)
			insertion(y)
			if !slices.IsSorted(x) || !slices.IsSorted(y) {
				t.Fatalf("%d numbers, bits %b: %v, %v", n, bits, x, y)
			}
		}
	}
}

func TestSortedIsTheSortOfTheLibrary(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		value := rapid.OneOf(rapid.Float32(), rapid.Float32Range(0.5, 0.505), rapid.SampledFrom([]float32{0, 1, -1, 0.5, float32(math.NaN()), float32(math.Inf(1)), float32(math.Inf(-1))}))
		x := rapid.SliceOfN(value, 0, slotsPerBlock).Draw(rt, "x")
		var buf [slotsPerBlock]key
		var got []float32
		for _, k := range sorted(x, &buf) {
			got = append(got, float32(k.value()))
		}
		want := slices.DeleteFunc(slices.Clone(x), func(v float32) bool { return v != v })
		slices.Sort(want)
		if !slices.Equal(got, want) {
			rt.Fatalf("%v\nsorted %v\nwant   %v", x, got, want)
		}
	})
}
