package records

import "testing"

func TestMemoryKeepsTheLast(t *testing.T) {
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if b, err := s.LoadMemory(t.Context(), "poll"); b != nil || err != nil {
		t.Fatalf("nothing kept yet: %q, %v", b, err)
	}
	for _, body := range []string{"one", "two"} {
		if err := s.SaveMemory(t.Context(), "poll", []byte(body)); err != nil {
			t.Fatal(err)
		}
	}
	if b, err := s.LoadMemory(t.Context(), "poll"); string(b) != "two" || err != nil {
		t.Fatalf("kept %q, %v; want the last", b, err)
	}
}
