package devices

import (
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// TestOrders: 138.5055 = 43 0A 81 68 and what it looks like in the other orders
// (computed with IEEE 754 single precision; the same table as in the manuals of
// masters that name orders ABCD, CDAB, BADC, DCBA).
func TestOrders(t *testing.T) {
	wire := map[Order][]byte{
		ABCD: {0x43, 0x0A, 0x81, 0x68},
		CDAB: {0x81, 0x68, 0x43, 0x0A},
		BADC: {0x0A, 0x43, 0x68, 0x81},
		DCBA: {0x68, 0x81, 0x0A, 0x43},
	}
	for o, b := range wire {
		f := Field{Quantity: SensorOhm, Type: Float32, Order: o}
		if v, ok := f.Get(b); !ok || math.Abs(v-138.5055) > 1e-5 {
			t.Errorf("%s: % X = %v, want 138.5055", o, b, v)
		}
	}
	f64 := map[Order][]byte{ // 138.5055 as a double, computed with the standard library
		ABCD: {0x40, 0x61, 0x50, 0x2D, 0x0E, 0x56, 0x04, 0x19},
		CDAB: {0x04, 0x19, 0x0E, 0x56, 0x50, 0x2D, 0x40, 0x61},
		BADC: {0x61, 0x40, 0x2D, 0x50, 0x56, 0x0E, 0x19, 0x04},
		DCBA: {0x19, 0x04, 0x56, 0x0E, 0x2D, 0x50, 0x61, 0x40},
	}
	for o, b := range f64 {
		f := Field{Quantity: SensorOhm, Type: Float64, Order: o}
		if v, ok := f.Get(b); !ok || v != 138.5055 {
			t.Errorf("%s: % X = %v, want 138.5055", o, b, v)
		}
	}
}

// TestWrongOrders: values that a swapped word order gives (IEEE 754, computed).
func TestWrongOrders(t *testing.T) {
	tests := []struct {
		b    []byte
		want float64
	}{
		{[]byte{0x81, 0x68, 0x43, 0x0A}, -4.266e-38},
		{[]byte{0x0A, 0x43, 0x68, 0x81}, 9.409e-33},
		{[]byte{0x68, 0x81, 0x0A, 0x43}, 4.875e24},
		{[]byte{0x00, 0x00, 0x3F, 0x00}, 2.26e-41}, // 0.5 with its words swapped: a denormal
	}
	for _, tt := range tests {
		f := Field{Quantity: LeadA1, Type: Float32}
		v, _ := f.Get(tt.b)
		if math.Abs(v/tt.want-1) > 1e-3 {
			t.Errorf("% X = %g, want %g", tt.b, v, tt.want)
		}
		if f.Quantity.plausible(v) {
			t.Errorf("% X = %g counts as plausible", tt.b, v)
		}
	}
}

func TestGet(t *testing.T) {
	tests := []struct {
		name  string
		field Field
		src   []byte
		want  float64
	}{
		{"int16 negative", Field{Quantity: ReadingDegC, Type: Int16, Scale: 0.1}, []byte{0xFF, 0x9C}, -10},
		{"uint16", Field{Quantity: LeadB1, Type: Uint16, Scale: 0.001}, []byte{0x01, 0xF5}, 0.501},
		{"uint16 bytes swapped", Field{Quantity: LeadB1, Type: Uint16, Order: BADC, Scale: 0.001}, []byte{0xF5, 0x01}, 0.501},
		{"int32 words swapped", Field{Quantity: SensorOhm, Type: Int32, Order: CDAB, Scale: 0.0001}, []byte{0x22, 0x5F, 0x00, 0x15}, 138.5055},
		{"int32 negative", Field{Quantity: ReadingDegC, Type: Int32, Scale: 0.001}, []byte{0xFF, 0xFF, 0xFC, 0x18}, -1},
		{"uint32 top bit", Field{Quantity: CycleCount, Type: Uint32}, []byte{0x80, 0, 0, 1}, 2147483649},
		{"milliohm", Field{Quantity: LeadA1, Type: Uint16, Unit: "mOhm"}, []byte{0x01, 0xF5}, 0.501},
		{"fahrenheit", Field{Quantity: ReadingDegC, Type: Int16, Scale: 0.1, Unit: "degF"}, []byte{0x08, 0x48}, 100},
		{"kelvin", Field{Quantity: DeviceTempDegC, Type: Uint16, Scale: 0.01, Unit: "K"}, []byte{0x72, 0x6F}, 19.8},
		{"microvolt", Field{Quantity: EMFVolt, Type: Int16, Unit: "uV"}, []byte{0xFF, 0xEC}, -20e-6},
		{"scale and offset", Field{Quantity: ReadingDegC, Type: Uint16, Scale: 0.1, Offset: -200}, []byte{0x0B, 0xB8}, 100},
		{"no scale is one", Field{Quantity: LeadA1, Type: Uint16}, []byte{0, 7}, 7},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if v, ok := tt.field.Get(tt.src); !ok || math.Abs(v-tt.want) > 1e-12*math.Max(1, math.Abs(tt.want)) {
				t.Errorf("% X = %v, %v, want %v", tt.src, v, ok, tt.want)
			}
		})
	}
}

func TestInvalid(t *testing.T) {
	f := Field{Quantity: LeadA1, Type: Int16, Scale: 0.001, Invalid: []uint64{0x8000, 0x7FFF}}
	for _, b := range [][]byte{{0x80, 0}, {0x7F, 0xFF}} {
		if v, ok := f.Get(b); ok || !math.IsNaN(v) {
			t.Errorf("% X = %v, %v; want no value", b, v, ok)
		}
	}
	for name, bits := range map[string]uint32{"NaN": 0x7FC00000, "infinity": 0x7F800000} {
		g := Field{Quantity: LeadA1, Type: Float32}
		b := make([]byte, 4)
		g.PutRaw(b, uint64(bits))
		if v, ok := g.Get(b); ok || !math.IsNaN(v) {
			t.Errorf("%s = %v, %v; want no value", name, v, ok)
		}
	}
}

// TestDecimalsAreExact: a register of thousandths gives the double nearest to
// the printed decimal for every raw value, so that values stay on the grid of
// their resolution on their way through the program.
func TestDecimalsAreExact(t *testing.T) {
	for _, scale := range []float64{0.1, 0.01, 0.001, 0.0001} {
		f := Field{Quantity: LeadA1, Type: Int16, Scale: scale}
		l, err := f.linear()
		if err != nil {
			t.Fatal(err)
		}
		places := int(math.Round(-math.Log10(scale)))
		for raw := math.MinInt16; raw <= math.MaxInt16; raw++ {
			got := l.value(float64(raw))
			want, err := strconv.ParseFloat(strconv.Itoa(raw)+"e-"+strconv.Itoa(places), 64)
			if err != nil || got != want {
				t.Fatalf("%d·%g = %v, want %v (%v)", raw, scale, got, want, err)
			}
		}
	}
}

// TestPutGet: what is encoded is decoded, to half a step.
func TestPutGet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := Field{
			Quantity: LeadA1,
			Type:     rapid.SampledFrom([]Type{Int16, Uint16, Int32, Uint32, Float32, Float64}).Draw(t, "type"),
			Order:    rapid.SampledFrom([]Order{ABCD, CDAB, BADC, DCBA}).Draw(t, "order"),
			Scale:    rapid.SampledFrom([]float64{1, 0.1, 0.01, 0.001, 2.5}).Draw(t, "scale"),
			Offset:   rapid.SampledFrom([]float64{0, -10, 3.5}).Draw(t, "offset"),
			Unit:     rapid.SampledFrom([]string{"", "Ohm", "mOhm"}).Draw(t, "unit"),
		}
		if f.Registers() == 1 && (f.Order == CDAB || f.Order == DCBA) {
			f.Order = BADC
		}
		v := rapid.Float64Range(0, 20).Draw(t, "value")
		b := make([]byte, 2*f.Registers())
		if err := f.Put(b, v); err != nil {
			return // does not fit: refused, nothing to compare
		}
		got, ok := f.Get(b)
		tolerance := 20 * math.Pow(2, -23)
		if f.Type < Float32 {
			tolerance = f.Step()/2 + 1e-9
		}
		if !ok || math.Abs(got-v) > tolerance {
			t.Fatalf("%+v: put %v, got %v, %v", f, v, got, ok)
		}
	})
}

func TestPutRefuses(t *testing.T) {
	b := []byte{0xAB, 0xCD}
	for _, f := range []Field{
		{Quantity: LeadA1, Type: Uint16, Scale: 0.001}, // 70 Ω do not fit
		{Quantity: LeadA1, Type: Int16, Scale: 0.001},
		{Quantity: LeadA1, Type: Uint16, Unit: "degC"},
	} {
		if err := f.Put(b, 70); err == nil {
			t.Errorf("%+v took 70 Ω", f)
		}
	}
	f := Field{Quantity: LeadA1, Type: Int16}
	if err := f.Put(b, math.NaN()); err == nil {
		t.Error("an integer without an invalid value took NaN")
	}
	if b[0] != 0xAB || b[1] != 0xCD {
		t.Errorf("a refused value was written: % X", b)
	}
}
