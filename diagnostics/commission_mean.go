package diagnostics

import (
	"math"
	"time"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// mean averages what is known.
type mean struct {
	sum float64
	n   int
}

func (m *mean) add(x float64) {
	if !math.IsNaN(x) && !math.IsInf(x, 0) {
		m.sum += x
		m.n++
	}
}

func (m *mean) value() float64 {
	if m.n == 0 {
		return math.NaN()
	}
	return m.sum / float64(m.n)
}

// meanSample averages the usable samples quantity by quantity and returns how
// many they were. What no sample reports stays absent.
func meanSample(samples []measure.Sample) (measure.Sample, int) {
	var leads [measure.LeadCount]mean
	var pairs [measure.PairCount]mean
	var loopA, loopB, sensor, sensor2, reading, device, emf mean
	n := 0
	out := measure.Empty(samplesEnd(samples), measure.Good)
	for i := range samples {
		s := &samples[i]
		if !s.Quality.Usable() {
			continue
		}
		n++
		for l, o := range s.Leads {
			leads[l].add(float64(o))
		}
		for p, o := range s.Pairs {
			pairs[p].add(float64(o))
		}
		loopA.add(float64(s.LoopA))
		loopB.add(float64(s.LoopB))
		sensor.add(float64(s.Sensor))
		sensor2.add(float64(s.Sensor2))
		reading.add(float64(s.Reading))
		device.add(float64(s.DeviceTemp))
		emf.add(float64(s.EMF))
	}
	for l := range leads {
		out.Leads[l] = quantity.Ohm(leads[l].value())
	}
	for p := range pairs {
		out.Pairs[p] = quantity.Ohm(pairs[p].value())
	}
	out.LoopA, out.LoopB = quantity.Ohm(loopA.value()), quantity.Ohm(loopB.value())
	out.Sensor, out.Sensor2 = quantity.Ohm(sensor.value()), quantity.Ohm(sensor2.value())
	out.Reading, out.DeviceTemp, out.EMF = quantity.DegC(reading.value()), quantity.DegC(device.value()), quantity.Volt(emf.value())
	return out, n
}

// samplesEnd returns the time of the last sample; zero without any.
func samplesEnd(samples []measure.Sample) (t time.Time) {
	if len(samples) > 0 {
		t = samples[len(samples)-1].At
	}
	return t
}
