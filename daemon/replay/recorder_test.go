package replay

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"testing"
	"time"

	"ohmdrift/devices"
	"ohmdrift/devices/plant"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
)

// storyRegisters is the register map of the transmitters in told stories: every
// lead, sums of two, sensor value and temperature as integers.
func storyRegisters() *devices.Profile {
	ohm := func(q devices.Quantity, addr uint16) devices.Field {
		return devices.Field{Quantity: q, Addr: addr, Type: devices.Int16, Scale: 1, Unit: "mOhm", Invalid: []uint64{0x8000}}
	}
	p := &devices.Profile{Name: "story", Table: devices.Holding, Renew: time.Second, Accuracy: diagnostics.NoAccuracy()}
	for i, q := range []devices.Quantity{devices.LeadA1, devices.LeadA2, devices.LeadB1, devices.LeadB2, devices.LoopA, devices.LoopB} {
		p.Fields = append(p.Fields, ohm(q, uint16(i)))
	}
	p.Fields = append(p.Fields,
		devices.Field{Quantity: devices.SensorOhm, Addr: 6, Type: devices.Int32, Scale: 1, Unit: "mOhm", Invalid: []uint64{0x80000000}},
		devices.Field{Quantity: devices.ReadingDegC, Addr: 8, Type: devices.Int16, Scale: 0.01, Unit: "degC", Invalid: []uint64{0x8000}},
	)
	return p
}

// recorder polls simulated transmitters and writes down what their registers hold:
// the input of a replay.
type recorder struct {
	plant   *plant.Plant
	decoder *devices.Decoder
	tags    []string
	out     bytes.Buffer
}

// record polls every loop each ten minutes.
func (r *recorder) record(from, to time.Time) []byte {
	r.out.WriteString("time,loop,a1,a2,b1,b2,loop_a,loop_b,sensor,reading\n")
	for at := from; at.Before(to); at = at.Add(10 * time.Minute) {
		for i := range r.tags {
			r.poll(i, at)
		}
	}
	return r.out.Bytes()
}

// poll writes a row for one answer, nothing where there is none.
func (r *recorder) poll(loop int, at time.Time) {
	registers, ok := r.plant.Registers(loop, at)
	if !ok {
		return
	}
	var x devices.Reading
	blocks := make([][]byte, 0, 2)
	for _, q := range r.decoder.Requests() {
		blocks = append(blocks, registers[2*q.Addr:])
	}
	r.decoder.Decode(blocks, at, &x)
	b := r.out.AvailableBuffer()
	b = at.AppendFormat(b, time.RFC3339)
	b = append(append(b, ','), r.tags[loop]...)
	for _, v := range [...]float64{
		float64(x.Leads[measure.A1]), float64(x.Leads[measure.A2]), float64(x.Leads[measure.B1]), float64(x.Leads[measure.B2]),
		float64(x.LoopA), float64(x.LoopB), float64(x.Sensor), float64(x.Reading),
	} {
		b = append(b, ',')
		if !math.IsNaN(v) {
			b = strconv.AppendFloat(b, v, 'f', -1, 64)
		}
	}
	r.out.Write(append(b, '\n'))
}

// saying is a finding as a replay writes it.
type saying struct {
	Time     time.Time
	Loop     string
	Kind     string
	Leads    []string
	State    string
	Severity string
	Evidence string
	Loops    []string
}

func (l *saying) String() string {
	return fmt.Sprintf("%s %s %s %v %s %s: %s", l.Time.Format("01-02 15:04"), l.Loop, l.State, l.Leads, l.Kind, l.Severity, l.Evidence)
}

// replayed returns the findings of a replay.
func replayed(t testing.TB, in []byte, specs []*diagnostics.Spec) []saying {
	text, report := mustRun(t, in, Options{Loops: specs, Cores: 1})
	if !report.Sound() {
		t.Fatalf("the record has %d bad and %d late rows", report.Bad, report.Late)
	}
	var out []saying
	for d := json.NewDecoder(bytes.NewReader([]byte(text))); d.More(); {
		var l saying
		if err := d.Decode(&l); err != nil {
			t.Fatal(err)
		}
		out = append(out, l)
	}
	return out
}
