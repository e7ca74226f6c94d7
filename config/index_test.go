package config

import (
	"math"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"

	"ohmdrift/diagnostics/wiring"
)

func loadIndexText(text string, columns map[string]string) (*Plant, error) {
	files := fstest.MapFS{"index.csv": {Data: []byte(text)}}
	return LoadIndex("index.csv", IndexOptions{Options: Options{FS: files}, Columns: columns})
}

func TestLoadIndexAlone(t *testing.T) {
	const text = "tag,site,wires,method,offset_ohm,reports,sensor,class,limit_degC,cable_m,conductor,outdoor,interval_s,link,profile\n" +
		"TT-1,Larkfield,2,two-wire-fixed,1.2,reading,Pt100,B,0.8,40,0.75 mm2,true,600,unknown,unknown\n" +
		"TT-2,Larkfield,4,four-wire,0,loops,Pt1000,AA,0.3,40,22 AWG,false,600,,leads-scaled\n" +
		"TT-3,Larkfield,3,three-wire-half,0,pairs,Pt100,A,0.3,,,,600,,\n"
	p, err := loadIndexText(text, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Loops) != 3 || p.Site != "Larkfield" || p.Loops[0].Link != -1 || p.Loops[0].Profile != nil {
		t.Fatalf("%+v", p)
	}
	if l := p.Loops[1]; l.Reports != wiring.LoopsOnly || l.Accuracy.Lead != 0.02 { // of the profile leads-scaled
		t.Errorf("TT-2 %+v", l.Spec)
	}
	if l := p.Loops[2]; !math.IsNaN(float64(l.Cable20)) || l.Reports != wiring.PairsOnly {
		t.Errorf("TT-3 %+v", l.Spec)
	}
}

// TestIndexForms: the same index in the forms that spreadsheets write.
func TestIndexForms(t *testing.T) {
	plain := "tag,wires,box\nTT-1,4,JB-1\nTT-2,4,\"Box, north\"\n"
	for name, text := range map[string]string{
		"plain":            plain,
		"byte-order mark":  "\xEF\xBB\xBF" + plain,
		"CRLF":             strings.ReplaceAll(plain, "\n", "\r\n"),
		"semicolons":       "tag;wires;box\nTT-1;4;JB-1\nTT-2;4;Box, north\n",
		"tabs":             "tag\twires\tbox\nTT-1\t4\tJB-1\nTT-2\t4\tBox, north\n",
		"quoted header":    "\"tag\",\"wires\",\"box\"\nTT-1,4,JB-1\nTT-2,4,\"Box, north\"\n",
		"other order":      "box,tag,wires\nJB-1,TT-1,4\n\"Box, north\",TT-2,4\n",
		"blank rows":       "tag,wires,box\n\n,,\nTT-1,4,JB-1\nTT-2,4,\"Box, north\"",
		"blanks in cells":  "tag, wires ,box\n TT-1 ,4, JB-1\nTT-2,4 ,\"Box, north\"\n",
		"two-line header":  "tag,wires,box,\"Re\nmarks\"\nTT-1,4,JB-1,\nTT-2,4,\"Box, north\",\"a\nb\"\n",
		"comma in a quote": "tag,wires,box,\"a;b;c;d;e\"\nTT-1,4,JB-1,\nTT-2,4,\"Box, north\",\n",
	} {
		t.Run(name, func(t *testing.T) {
			columns := map[string]string{}
			for _, own := range []string{"Re\nmarks", "a;b;c;d;e"} {
				if strings.Contains(text, own) {
					columns[own] = ignore
				}
			}
			p, err := loadIndexText(text, columns)
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, l := range p.Loops {
				got = append(got, l.Tag+"/"+l.Box)
			}
			if d := cmp.Diff([]string{"TT-1/JB-1", "TT-2/Box, north"}, got); d != "" {
				t.Error(d)
			}
		})
	}
}

func TestIndexColumnMap(t *testing.T) {
	const text = "Instrument;Wire count;Prüfung;Limit\nTT-1;4;x;0.5\n"
	p, err := loadIndexText(text, map[string]string{"Instrument": "tag", "Wire count": "wires", "Prüfung": ignore, "Limit": "limit_degC"})
	if err != nil {
		t.Fatal(err)
	}
	if l := p.Loops[0]; l.Tag != "TT-1" || l.Wires != 4 || l.LimitHigh != 0.5 {
		t.Errorf("%+v", l.Spec)
	}
}

// TestIndexPlaces: each mistake of a row stands at its cell.
func TestIndexPlaces(t *testing.T) {
	_, err := loadIndexText("tag,wires,limit_degC,class\r\n\"TT-1\",5,0.5,A\r\nTT-2,4,0.5 degC,E\r\n", nil)
	want := "index.csv:2:8: wires: 5 is out of range; want 2 to 4\n" +
		"index.csv:3:8: limit_degC: \"0.5 degC\" has a unit; write 0.5 in the unit of the column\n" +
		"index.csv:3:17: class: \"E\": want one of class AA, class A, class B, class C, grade A, grade B"
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
}
