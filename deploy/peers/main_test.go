// Package peers checks ohmdrift against programs that nobody here wrote: Modbus
// servers of three other projects, over TCP and over a serial line. What they
// need is installed by deploy/test; a test that misses something fails and says
// what to install.
package peers

import (
	"testing"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }
