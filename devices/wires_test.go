package devices

import (
	"slices"
	"testing"
)

func TestWiredDropsTheLeadsThatAreNotThere(t *testing.T) {
	p := &Profile{Name: "p", Fields: []Field{{Quantity: LeadA1}, {Quantity: LeadA2}, {Quantity: LeadB1}, {Quantity: LeadB2}, {Quantity: SensorOhm}}}
	tests := []struct {
		wires int
		want  []Quantity
	}{
		{4, []Quantity{LeadA1, LeadA2, LeadB1, LeadB2, SensorOhm}},
		{3, []Quantity{LeadA1, LeadB1, LeadB2, SensorOhm}},
		{2, []Quantity{LeadA1, LeadB1, SensorOhm}},
	}
	for _, tt := range tests {
		var got []Quantity
		for _, f := range p.Wired(tt.wires).Fields {
			got = append(got, f.Quantity)
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%d wires: %v, want %v", tt.wires, got, tt.want)
		}
	}
	if len(p.Fields) != 5 || p.Wired(4) != p {
		t.Error("the profile itself was changed, or copied without need")
	}
}
