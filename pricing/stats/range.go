package stats

// Range is a median with an equal-tailed interval.
type Range struct {
	Likely, Low, High float64
	Level             float64 // 0.8
}
