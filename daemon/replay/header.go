package replay

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strings"

	"ohmdrift/diagnostics/measure"
	"ohmdrift/diagnostics/quantity"
)

// column is what a column of the input holds.
type column uint8

const (
	colTime column = iota
	colLoop
	colA1
	colA2
	colB1
	colB2
	colLoopA
	colLoopB
	colSensor
	colReading
	colDeviceTemp
)

// values is how many columns hold numbers, from colA1 on.
const values = int(colDeviceTemp-colA1) + 1

func columnNames() []string {
	return []string{"time", "loop", "a1", "a2", "b1", "b2", "loop_a", "loop_b", "sensor", "reading", "device_temp"}
}

// layout is the order of the columns of one file.
type layout []column

// readHeader reads the header line. rename maps a site's own names.
func readHeader(line []byte, rename map[string]string) (layout, error) {
	names, err := csv.NewReader(bytes.NewReader(line)).Read()
	if err != nil {
		return nil, fmt.Errorf("header line: %w", err)
	}
	var l layout
	for _, n := range names {
		own := strings.TrimSpace(n)
		if to, ok := rename[own]; ok {
			own = to
		}
		i := slices.Index(columnNames(), own)
		if i < 0 {
			return nil, fmt.Errorf("line 1: unknown column %q; want time, loop and any of %s, or map it", n, strings.Join(columnNames()[2:], ", "))
		}
		if slices.Contains(l, column(i)) {
			return nil, fmt.Errorf("line 1: column %s is given twice", own)
		}
		l = append(l, column(i))
	}
	if !slices.Contains(l, colTime) || !slices.Contains(l, colLoop) {
		return nil, fmt.Errorf("line 1: columns time and loop are needed, got %q", strings.Join(names, ","))
	}
	if len(l) < 3 {
		return nil, fmt.Errorf("line 1: no column with values; want any of %s", strings.Join(columnNames()[2:], ", "))
	}
	return l, nil
}

// row is one line of the input.
type row struct {
	at    stamp
	loop  int32 // number of the loop; −1 = bad or not to be used
	line  int32 // in its block
	value [values]float64
}

// fill writes the row into a sample, every other quantity absent.
func (r *row) fill(s, empty *measure.Sample) {
	*s = *empty
	s.At = r.at.time()
	for l := measure.A1; l <= measure.B2; l++ {
		s.Leads[l] = quantity.Ohm(r.value[l])
	}
	s.LoopA = quantity.Ohm(r.value[colLoopA-colA1])
	s.LoopB = quantity.Ohm(r.value[colLoopB-colA1])
	s.Sensor = quantity.Ohm(r.value[colSensor-colA1])
	s.Reading = quantity.DegC(r.value[colReading-colA1])
	s.DeviceTemp = quantity.DegC(r.value[colDeviceTemp-colA1])
}
