package furniture

// Refusal says why there is no answer and what would be needed for one.
type Refusal struct {
	Reason string // "too_few_sales", "interval_too_wide"
	Have   float64
	Need   float64
	Detail string // for people
}
