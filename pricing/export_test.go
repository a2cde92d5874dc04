package pricing

import "testing"

// PlaysForLong marks a test of figures that plays many markets. All of it is one
// goroutine, in which there is nothing to race for; under the detector it would take
// ten times as long, and the tests run without it, too.
func PlaysForLong(t *testing.T) {
	t.Helper()
	if raceDetector {
		t.Skip("run without the race detector")
	}
}
