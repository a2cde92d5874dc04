//go:build race

package pricing_test

// raceDetector makes trials about ten times slower: they play fewer markets.
const raceDetector = true
