package wire

import (
	"askwright/api/web"
	"askwright/service"
	"askwright/service/advice"
)

// DeliveryRequest asks what delivering a piece costs.
type DeliveryRequest struct {
	Distance   *float64     `json:"distance" example:"12"`            // needed: one way, in miles or, in a group with the unit cm, kilometres
	Stairs     int          `json:"stairs"`                           // flights, at both ends together
	Helpers    int          `json:"helpers"`                          // beside oneself, paid by the hour
	HelperHour *web.Decimal `json:"helper_hour" swaggertype:"number"` // pay; default: the group's hour_value
	Hours      *float64     `json:"hours"`                            // of one's own, door to door; default: from distance and stairs
	Tolls      *web.Decimal `json:"tolls" swaggertype:"number"`       // and parking
	Charge     *web.Decimal `json:"charge" swaggertype:"number"`      // that the buyer is to pay; default: as suggested
}

// DeliveryQuote is what a delivery costs and what to charge for it, apart from
// the price of the piece.
type DeliveryQuote struct {
	Distance     web.Number `json:"distance" swaggertype:"number"` // there and back
	DistanceUnit string     `json:"distance_unit" enums:"mi,km"`
	DistanceCost web.Number `json:"distance_cost" swaggertype:"number"` // of one
	Hours        web.Number `json:"hours" swaggertype:"number"`
	Vehicle      web.Number `json:"vehicle" swaggertype:"number"`
	Labor        web.Number `json:"labor" swaggertype:"number"` // one's own hours at their value
	HelperPay    web.Number `json:"helper_pay" swaggertype:"number"`
	Tolls        web.Number `json:"tolls" swaggertype:"number"`
	Cost         web.Number `json:"cost" swaggertype:"number"`             // all of them
	Suggested    web.Number `json:"suggested_charge" swaggertype:"number"` // the round price that covers the cost
	Charge       web.Number `json:"charge" swaggertype:"number"`           // asked for, or suggested_charge
	Profit       web.Number `json:"profit" swaggertype:"number"`           // of the delivery alone, the hours paid
	Sentences    []Sentence `json:"sentences"`
}

func (r *DeliveryRequest) Read(a *service.Actor) (advice.Delivery, error) {
	d := advice.Delivery{Stairs: r.Stairs, Helpers: r.Helpers, Hours: r.Hours}
	if r.Distance == nil {
		return d, service.Invalid("distance", "is missing: how far it is, one way")
	}
	d.Distance = *r.Distance
	tolls, err := amountOf(a, "tolls", r.Tolls)
	if err != nil {
		return d, err
	}
	if tolls != nil {
		d.Tolls = *tolls
	}
	if d.HelperHour, err = amountOf(a, "helper_hour", r.HelperHour); err != nil {
		return d, err
	}
	d.Charge, err = amountOf(a, "charge", r.Charge)
	return d, err
}

// amountOf reads an amount of a body; nil: it was not sent.
func amountOf(a *service.Actor, name string, sent *web.Decimal) (*service.Money, error) {
	if sent == nil {
		return nil, nil
	}
	m, err := service.ParseMoney(string(*sent), a.Group.Currency, '.')
	if err != nil {
		return nil, service.Invalid(name, "%v", err)
	}
	return &m, nil
}
