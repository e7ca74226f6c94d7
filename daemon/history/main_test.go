package history

import (
	"os"
	"testing"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		child(dir)
	}
	goleak.VerifyTestMain(m)
}
