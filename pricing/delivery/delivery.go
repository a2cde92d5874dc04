// Package delivery says what bringing a piece to its buyer costs.
package delivery

import (
	"math"

	"askwright/pricing/pricepoint"
)

// Query asks what delivering a piece costs. Money is in the group's unit.
type Query struct {
	Distance     float64  // one way
	Metric       bool     // distances are in kilometres, else in miles
	DistanceCost float64  // of one of them with the vehicle; zero: a share of HourValue
	Stairs       int      // flights, at both ends together
	Helpers      int      // beside oneself, paid by the hour
	HelperHour   *float64 // pay; nil: HourValue
	Hours        *float64 // of one's own, door to door; nil: from distance and stairs
	Tolls        float64  // and parking
	HourValue    float64  // of one's own; zero: not counted
	Charge       *float64 // that the buyer is to pay; nil: as suggested
}

// Quote is what a delivery costs and what to charge for it, apart from
// the price of the piece.
type Quote struct {
	Distance     float64 // driven, there and back
	DistanceCost float64 // of one mile or kilometre
	Hours        float64
	Vehicle      float64
	Labor        float64 // one's own hours
	HelperPay    float64
	Tolls        float64
	Cost         float64 // all of them
	Suggested    float64 // the price point that covers the cost
	Charge       float64 // asked for, or Suggested
	Profit       float64 // Charge − Cost, the hours paid
}

// Driving and carrying. Common practice, no source.
const (
	milesPerHour      = 30.0
	kilometresPerHour = 50.0
	loadingHours      = 0.75 // wrapping, loading, unloading
	flightHours       = 0.25 // of stairs
	mileShare         = 0.04 // of an hour's value, where a mile has no price
	kilometreShare    = 0.025
)

// Of quotes a delivery:
//
//	cost = 2 · distance · cost of one + hours · (own value + helpers · their pay) + tolls
//
// and suggests the price point at or above it. It is false where neither a
// mile nor an hour has a price.
func Of(q Query) (Quote, bool) {
	speed, share := milesPerHour, mileShare
	if q.Metric {
		speed, share = kilometresPerHour, kilometreShare
	}
	out := Quote{Distance: 2 * q.Distance, DistanceCost: q.DistanceCost, Tolls: q.Tolls}
	if out.DistanceCost <= 0 {
		out.DistanceCost = share * q.HourValue
	}
	if out.DistanceCost <= 0 {
		return Quote{}, false
	}
	out.Hours = out.Distance/speed + loadingHours + flightHours*float64(q.Stairs)
	if q.Hours != nil {
		out.Hours = *q.Hours
	}
	pay := q.HourValue
	if q.HelperHour != nil {
		pay = *q.HelperHour
	}
	out.Vehicle = out.Distance * out.DistanceCost
	out.Labor = out.Hours * q.HourValue
	out.HelperPay = out.Hours * pay * float64(q.Helpers)
	out.Cost = out.Vehicle + out.Labor + out.HelperPay + out.Tolls
	if out.Cost > 0 {
		out.Suggested = pricepoint.From(out.Cost)
	}
	out.Charge = out.Suggested
	if q.Charge != nil {
		out.Charge = *q.Charge
	}
	out.Profit = out.Charge - out.Cost
	return out, !math.IsInf(out.Cost, 0)
}
