//go:build race

package pricing

const raceDetector = true
