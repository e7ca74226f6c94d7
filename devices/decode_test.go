package devices

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// larkfield is a four-wire transmitter of the invented site.
func larkfield() *Profile {
	return &Profile{
		Name: "larkfield", Table: Input, MaxRead: 32,
		Fields: []Field{
			{Quantity: ReadingDegC, Addr: 0, Type: Float32, Order: CDAB},
			{Quantity: SensorOhm, Addr: 2, Type: Float32, Order: CDAB},
			{Quantity: LeadA1, Addr: 4, Type: Uint16, Scale: 0.001, Invalid: []uint64{0xFFFF}},
			{Quantity: LeadA2, Addr: 5, Type: Uint16, Scale: 0.001, Invalid: []uint64{0xFFFF}},
			{Quantity: LeadB1, Addr: 6, Type: Uint16, Scale: 0.001, Invalid: []uint64{0xFFFF}},
			{Quantity: LeadB2, Addr: 7, Type: Uint16, Scale: 0.001, Invalid: []uint64{0xFFFF}},
			{Quantity: DeviceTempDegC, Addr: 8, Type: Int16, Scale: 0.1, Invalid: []uint64{0x8000}},
			{Quantity: CycleCount, Addr: 9, Type: Uint16},
			{Quantity: StatusWord, Addr: 10, Type: Uint16, Status: []StatusBit{
				{Mask: 0x1, Equals: 0x1, Quality: uint8(measure.Device), Text: "sensor break"},
				{Mask: 0x6, Equals: 0x2, Quality: uint8(measure.Invalid), Text: "measuring"},
			}},
		},
	}
}

func sample() measure.Sample {
	s := measure.Empty(time.Unix(1000, 0), measure.Good)
	s.Reading, s.Sensor, s.DeviceTemp, s.Cycle = 100.25, 138.625, 31.5, 17
	s.Leads = measure.Leads{0.501, 0.502, 0.503, 0.504}
	return s
}

func encoded(t *testing.T, p *Profile, s measure.Sample, status uint64) [][]byte {
	t.Helper()
	regs := make([]byte, 64)
	if err := p.Encode(&s, status, regs); err != nil {
		t.Fatal(err)
	}
	var blocks [][]byte
	for _, r := range p.Plan() {
		blocks = append(blocks, regs[2*r.Addr:2*(r.Addr+r.Count)])
	}
	return blocks
}

func TestEncodeDecode(t *testing.T) {
	p, s := larkfield(), sample()
	r, err := p.Decode(encoded(t, p, s, 0), s.At)
	if err != nil {
		t.Fatal(err)
	}
	for q := LeadA1; q < StatusWord; q++ {
		got, want := q.Of(&r.Sample), q.Of(&s)
		if got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
			t.Errorf("%s = %v, want %v", q, got, want)
		}
	}
	if !r.At.Equal(s.At) || r.Quality != measure.Good {
		t.Errorf("at %v, quality %v", r.At, r.Quality)
	}
	if r.Problem != "" {
		t.Error(r.Problem)
	}
}

func TestDecodeQuality(t *testing.T) {
	nanOhm, nanDegC := quantity.Ohm(math.NaN()), quantity.DegC(math.NaN())
	tests := []struct {
		name    string
		change  func(s *measure.Sample)
		status  uint64
		quality measure.Quality
		problem string
	}{
		{"good", func(*measure.Sample) {}, 0, measure.Good, ""},
		{"status says sensor break", func(*measure.Sample) {}, 1, measure.Device, "sensor break"},
		{"status field of two bits", func(*measure.Sample) {}, 2, measure.Invalid, "measuring"},
		{"another value of these bits", func(*measure.Sample) {}, 6, measure.Good, ""},
		{"a lead has no value", func(s *measure.Sample) { s.Leads[measure.B1] = nanOhm }, 0, measure.Invalid, "b1 (raw 0xffff)"},
		{"the reading is NaN", func(s *measure.Sample) { s.Reading = nanDegC }, 0, measure.Invalid, "reading (raw 0x7fc00000)"},
		{"no device temperature", func(s *measure.Sample) { s.DeviceTemp = nanDegC }, 0, measure.Good, ""},
		{"no value and sensor break", func(s *measure.Sample) { s.Reading = nanDegC }, 1, measure.Device, "sensor break"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p, s := larkfield(), sample()
			tt.change(&s)
			r, err := p.Decode(encoded(t, p, s, tt.status), s.At)
			if err != nil || r.Quality != tt.quality || !strings.Contains(r.Problem, tt.problem) || (r.Problem == "") != (tt.problem == "") {
				t.Errorf("%v %q (%v), want %v %q", r.Quality, r.Problem, err, tt.quality, tt.problem)
			}
			if r.Leads[measure.A1] != 0.501 {
				t.Errorf("a1 = %v, want 0.501: sound values stay", r.Leads[measure.A1])
			}
		})
	}
}

// TestTornCycle: a device that counts its cycles at both ends of the block lets
// a torn answer be seen.
func TestTornCycle(t *testing.T) {
	p := larkfield()
	p.Fields = append(p.Fields, Field{Quantity: CycleCount, Addr: 11, Type: Uint16})
	blocks := encoded(t, p, sample(), 0)
	if r, err := p.Decode(blocks, time.Now()); err != nil || r.Quality != measure.Good {
		t.Fatalf("%v, %v; want good", r.Quality, err)
	}
	blocks[0][2*11+1]++
	if r, _ := p.Decode(blocks, time.Now()); r.Quality != measure.Skewed {
		t.Errorf("counters differ: %v; want skewed", r.Quality)
	}
}

func TestPlan(t *testing.T) {
	field := func(q Quantity, addr uint16) Field { return Field{Quantity: q, Addr: addr, Type: Float32} }
	tests := []struct {
		name string
		p    Profile
		want []Request
	}{
		{
			"one block from lowest to highest field",
			Profile{Table: Holding, Fields: []Field{field(SensorOhm, 10), field(ReadingDegC, 4)}},
			[]Request{{Holding, 4, 8, 8}},
		},
		{
			"declared block goes on",
			Profile{Table: Input, Blocks: []Block{{0, 20}}, Fields: []Field{field(SensorOhm, 2), field(ReadingDegC, 4)}},
			[]Request{{Input, 2, 4, 18}},
		},
		{
			"undeclared gap is not read",
			Profile{Table: Input, Blocks: []Block{{0, 4}, {100, 4}}, Fields: []Field{field(SensorOhm, 0), field(ReadingDegC, 102)}},
			[]Request{{Input, 0, 2, 4}, {Input, 102, 2, 2}},
		},
		{
			"cut between fields at max-read",
			Profile{Table: Input, MaxRead: 5, Fields: []Field{field(LeadA1, 0), field(LeadA2, 2), field(LeadB1, 4)}},
			[]Request{{Input, 0, 4, 5}, {Input, 4, 2, 2}},
		},
		{
			"a block nobody needs",
			Profile{Table: Input, Blocks: []Block{{0, 4}, {50, 4}}, Fields: []Field{field(LeadA1, 0)}},
			[]Request{{Input, 0, 2, 4}},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if err := tt.p.Validate(); err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(tt.want, tt.p.Plan()); d != "" {
				t.Error(d)
			}
		})
	}
}

func TestValidate(t *testing.T) {
	ok := func() Profile {
		return Profile{Table: Input, Fields: []Field{{Quantity: LeadA1, Addr: 0, Type: Uint16, Scale: 0.001, Unit: "Ohm"}}}
	}
	tests := []struct {
		name   string
		change func(p *Profile)
		want   string
	}{
		{"no table", func(p *Profile) { p.Table = 0 }, "table"},
		{"too many registers", func(p *Profile) { p.MaxRead = 126 }, "max-read 126"},
		{"no fields", func(p *Profile) { p.Fields = nil }, "no fields"},
		{"wrong unit", func(p *Profile) { p.Fields[0].Unit = "degC" }, "a1 in degC"},
		{"unknown unit", func(p *Profile) { p.Fields[0].Unit = "ohms" }, `unit "ohms"`},
		{"order of one register", func(p *Profile) { p.Fields[0].Order = CDAB }, "order CDAB on uint16"},
		{"outside every block", func(p *Profile) { p.Blocks = []Block{{5, 2}} }, "no declared block"},
		{"blocks overlap", func(p *Profile) { p.Blocks = []Block{{0, 4}, {2, 4}} }, "overlaps"},
		{"block past the end", func(p *Profile) { p.Blocks = []Block{{0, 4}, {65530, 10}} }, "address space"},
		{"invalid value too long", func(p *Profile) { p.Fields[0].Invalid = []uint64{0x10000} }, "0x10000"},
		{"status bits elsewhere", func(p *Profile) { p.Fields[0].Status = []StatusBit{{Mask: 1}} }, "only a status field"},
		{"longer than max-read", func(p *Profile) { p.MaxRead = 1; p.Fields[0].Type = Float32 }, "2 registers, but max-read is 1"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := ok()
			if err := p.Validate(); err != nil {
				t.Fatal(err)
			}
			tt.change(&p)
			if err := p.Validate(); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("%v; want something with %q", err, tt.want)
			}
		})
	}
}

func TestShortAnswer(t *testing.T) {
	p, s := larkfield(), sample()
	blocks := encoded(t, p, s, 0)
	blocks[0] = blocks[0][:9]
	if r, err := p.Decode(blocks, s.At); err != nil || r.Quality != measure.Comms {
		t.Errorf("%v, %v; want comms", r.Quality, err)
	}
}

// TestDecodeAllocates nothing: it runs ten thousand times a second.
func TestDecodeAllocates(t *testing.T) {
	p, s := larkfield(), sample()
	d, err := p.Compile()
	if err != nil {
		t.Fatal(err)
	}
	blocks := encoded(t, p, s, 0)
	var r Reading
	if n := testing.AllocsPerRun(100, func() { d.Decode(blocks, s.At, &r); d.Suspect(blocks, nil) }); n != 0 {
		t.Errorf("%v allocations a reading, want none", n)
	}
}

func BenchmarkDecode(b *testing.B) {
	p, s := larkfield(), sample()
	d, err := p.Compile()
	if err != nil {
		b.Fatal(err)
	}
	regs := make([]byte, 64)
	if err := p.Encode(&s, 0, regs); err != nil {
		b.Fatal(err)
	}
	blocks := [][]byte{regs[:22]}
	var r Reading
	b.ReportAllocs()
	for b.Loop() {
		d.Decode(blocks, s.At, &r)
	}
}

// FuzzDecode: any bytes decode to a sample whose values are numbers or absent,
// and a good one has every primary value.
func FuzzDecode(f *testing.F) {
	p := larkfield()
	d, err := p.Compile()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(make([]byte, 22), uint8(0))
	f.Add([]byte{0, 0, 0x7F, 0xC0}, uint8(3))
	f.Fuzz(func(t *testing.T, b []byte, cut uint8) {
		var r Reading
		d.Decode([][]byte{b}, time.Unix(0, 0), &r)
		if len(b) < 22 && r.Quality == measure.Good {
			t.Errorf("%d bytes are a good sample", len(b))
		}
		for q := LeadA1; q <= CycleCount; q++ {
			v := q.Of(&r.Sample)
			if math.IsInf(v, 0) {
				t.Errorf("%s is infinite", q)
			}
			if r.Quality == measure.Good && q <= LeadB2 && math.IsNaN(v) {
				t.Errorf("good, but %s is absent", q)
			}
		}
		if (r.Quality == measure.Good) != (r.Problem == "") {
			t.Errorf("quality %v with problem %q", r.Quality, r.Problem)
		}
		if len(b) >= 22 {
			d.Try(Order(cut&3), [][]byte{b}, nil)
			d.Suggest([][]byte{b}, nil)
		}
	})
}
