package advice

import (
	"askwright/pricing"
	"askwright/pricing/delivery"
	"askwright/service"
	"askwright/service/prose"
)

// Delivery is what delivering a piece takes.
type Delivery struct {
	Distance   float64 // one way, in miles (unit in) or kilometres (unit cm)
	Stairs     int     // flights
	Helpers    int
	Hours      *float64       // nil: from distance and stairs
	HelperHour *service.Money // pay; nil: as one's own hour
	Tolls      service.Money  // and parking
	Charge     *service.Money // nil: as suggested
}

func (d *Delivery) validate() error {
	var wrong []service.FieldError
	check := func(ok bool, column, reason string) {
		if !ok {
			wrong = append(wrong, service.FieldError{Column: column, Reason: reason})
		}
	}
	notNegative := func(m *service.Money) bool { return m == nil || service.Between(*m, 0, service.MaxMinor) }
	check(service.Between(d.Distance, 0, 5000), "distance", "expected 0 to 5000, one way")
	check(service.Between(d.Stairs, 0, 100), "stairs", "expected 0 to 100 flights")
	check(service.Between(d.Helpers, 0, 20), "helpers", "expected 0 to 20")
	check(d.Hours == nil || service.Between(*d.Hours, 0, 200), "hours", "expected 0 to 200")
	check(notNegative(d.HelperHour), "helper_hour", "must not be negative")
	check(notNegative(&d.Tolls), "tolls", "must not be negative")
	check(notNegative(d.Charge), "charge", "must not be negative")
	if wrong != nil {
		return &service.InvalidError{Fields: wrong}
	}
	return nil
}

// DeliveryQuote is what a delivery costs and what to charge.
type DeliveryQuote struct {
	delivery.Quote
	Sentences []pricing.Sentence
}

// QuoteDelivery says what a delivery costs and what to charge for it.
func (s *Service) QuoteDelivery(a *service.Actor, d Delivery) (*DeliveryQuote, error) {
	if err := d.validate(); err != nil {
		return nil, err
	}
	c := a.Group.Currency
	major := func(m *service.Money) *float64 {
		if m == nil {
			return nil
		}
		return new(m.Major(c))
	}
	quote, ok := delivery.Of(delivery.Query{
		Distance: d.Distance, Metric: a.Group.Unit == service.UnitCentimetre, DistanceCost: a.Group.DistanceCost.Major(c),
		Stairs: d.Stairs, Helpers: d.Helpers, HelperHour: major(d.HelperHour), Hours: d.Hours, Tolls: d.Tolls.Major(c),
		HourValue: a.Group.HourValue.Major(c), Charge: major(d.Charge),
	})
	if !ok {
		return nil, service.Refuse(service.ErrConflict, "neither a mile or kilometre nor an hour has a price yet: set the group's distance_cost or hour_value")
	}
	said := prose.In(c).Delivery(&quote, a.Group.Unit == service.UnitCentimetre, d.Charge != nil)
	return &DeliveryQuote{quote, said}, nil
}
