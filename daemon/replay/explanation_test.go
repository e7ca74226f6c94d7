package replay

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"ohmdrift/diagnostics/wiring"
)

// Of a pair the explanation has what its neighbours say of its middle, as evidence
// quotes it; of a loop that reports every lead it has none.
func TestExplanationOfAPair(t *testing.T) {
	r := record{seed: 3, loops: 4, days: 20, step: 10 * time.Minute}
	for tag, pair := range map[string]bool{"TT-3101": true, "TT-3102": false} {
		specs := r.specs(t)
		specs[1].Reports = wiring.PairsOnly
		dir := t.TempDir()
		e, err := Explain(dir, specs[slices.Index([]string{"TT-3100", "TT-3101", "TT-3102"}, tag)])
		if err != nil {
			t.Fatal(err)
		}
		mustRun(t, r.csv(), Options{Loops: specs, Explain: tag, Explained: e.Take})
		if err := e.Close(); err != nil {
			t.Fatal(err)
		}
		f, err := os.Open(filepath.Join(dir, tag+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		rows, err := csv.NewReader(f).ReadAll()
		if err != nil || len(rows) < 70 {
			t.Fatalf("%s: %d rows, %v", tag, len(rows), err)
		}
		at, told := slices.Index(rows[0], "middle_ohm"), 0
		for _, row := range rows[1:] {
			if row[at] == "" && row[at+1] == "" {
				continue
			}
			told++
			m, err := strconv.ParseFloat(row[at], 64)
			s, err2 := strconv.ParseFloat(row[at+1], 64)
			if err != nil || err2 != nil || m > 0.01 || m < -0.01 || s <= 0 || s > 0.01 {
				t.Errorf("%s at %s: middle %s, scatter %s; want some mΩ", tag, row[0], row[at], row[at+1])
			}
		}
		if pair && told < 40 || !pair && told > 0 {
			t.Errorf("%s: %d of %d rows have a middle", tag, told, len(rows)-1)
		}
	}
}
