package devices

import (
	"math/rand/v2"
	"testing"

	"ohmdrift/diagnostics/quantity"
	"ohmdrift/diagnostics/rtd"
)

func pt100(t testing.TB) (Curve, rtd.Sensor) {
	t.Helper()
	s, err := rtd.ParseSensor("Pt100")
	if err != nil {
		t.Fatal(err)
	}
	return func(ohm float64) (float64, bool) {
		c, err := s.Temperature(quantity.Ohm(ohm))
		return float64(c), err == nil
	}, s
}

// floats is a profile that gives everything as single floats in one order.
func floats(o Order) *Profile {
	p := &Profile{Name: "floats", Table: Input}
	for i, q := range []Quantity{LeadA1, LeadA2, LeadB1, LeadB2, SensorOhm, ReadingDegC} {
		p.Fields = append(p.Fields, Field{Quantity: q, Addr: uint16(2 * i), Type: Float32, Order: o})
	}
	return p
}

// TestWrongOrderIsFound makes loops of all temperatures and leads, encodes them
// in one order and reads them in another. The share that a range check alone
// would miss is 27 % of leads and 60 % of readings; the loop's registers taken
// together must miss none, and name the right order.
func TestWrongOrderIsFound(t *testing.T) {
	curve, sensor := pt100(t)
	rnd := rand.New(rand.NewPCG(1, 2))
	var wrong, missed, named int
	for range 2000 {
		s := sample()
		s.Reading = quantity.DegC(float64(int(rnd.Float64()*6000-1000)) / 10)
		s.Sensor = sensor.Forward(s.Reading)
		for l := range s.Leads {
			s.Leads[l] = quantity.Ohm(0.05 + 5*rnd.Float64())
		}
		for is := ABCD; is <= DCBA; is++ {
			regs := make([]byte, 64)
			if err := floats(is).Encode(&s, 0, regs); err != nil {
				t.Fatal(err)
			}
			for set := ABCD; set <= DCBA; set++ {
				d, err := floats(set).Compile()
				if err != nil {
					t.Fatal(err)
				}
				blocks := [][]byte{regs[:24]}
				if is == set {
					if d.Suspect(blocks, curve) {
						t.Fatalf("%+v in its own order %s is suspect", s, set)
					}
					continue
				}
				wrong++
				if !d.Suspect(blocks, curve) {
					missed++
					continue
				}
				if o, ok := d.Suggest(blocks, curve); ok && o == is {
					named++
				} else if ok {
					t.Errorf("suggests %s, but it is %s", o, is)
				}
			}
		}
	}
	if missed > 0 || named < wrong*99/100 {
		t.Errorf("%d wrong orders: %d missed, %d named rightly; want none missed, 99 %% named", wrong, missed, named)
	}
}

// TestReadingAloneIsCheckedToo: without a curve, denormals and exponents decide.
func TestReadingAloneIsCheckedToo(t *testing.T) {
	d, err := floats(CDAB).Compile()
	if err != nil {
		t.Fatal(err)
	}
	regs := make([]byte, 64)
	s := sample()
	if err := floats(ABCD).Encode(&s, 0, regs); err != nil {
		t.Fatal(err)
	}
	if o, ok := d.Suggest([][]byte{regs[:24]}, nil); !ok || o != ABCD {
		t.Errorf("suggests %v, %v; want ABCD", o, ok)
	}
}

// TestZeroSaysNothing: an unconnected transmitter may hold zeros, which read
// alike in every order.
func TestZeroSaysNothing(t *testing.T) {
	d, err := floats(CDAB).Compile()
	if err != nil {
		t.Fatal(err)
	}
	if d.Suspect([][]byte{make([]byte, 24)}, nil) {
		t.Error("zeros are suspect")
	}
	if o, ok := d.Suggest([][]byte{make([]byte, 24)}, nil); ok {
		t.Errorf("suggests %s for zeros", o)
	}
}
