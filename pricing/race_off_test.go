//go:build !race

package pricing_test

const raceDetector = false
