package diagnostics

import "testing"

func TestSigns(t *testing.T) {
	tests := []struct{ in, want string }{
		{"error -0.25 °C against +0.25/-0.25 °C", "error −0.25 °C against +0.25/−0.25 °C"},
		{"since 2026-03-01, three-wire", "since 2026-03-01, three-wire"},
		{"-1", "−1"},
	}
	for _, tt := range tests {
		if got := signs(tt.in); got != tt.want {
			t.Errorf("signs(%q) = %q, want %q", tt.in, got, tt.want)
		}
	}
}
