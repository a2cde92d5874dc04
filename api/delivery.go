package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/service"
	"askwright/service/advice"
)

// DeliveryRequest asks what delivering a piece costs.
type DeliveryRequest struct {
	Distance   *float64 `json:"distance" example:"12"`            // needed: one way, in miles or, in a group with the unit cm, kilometres
	Stairs     int      `json:"stairs"`                           // flights, at both ends together
	Helpers    int      `json:"helpers"`                          // beside oneself, paid by the hour
	HelperHour *Decimal `json:"helper_hour" swaggertype:"number"` // pay; default: the group's hour_value
	Hours      *float64 `json:"hours"`                            // of one's own, door to door; default: from distance and stairs
	Tolls      *Decimal `json:"tolls" swaggertype:"number"`       // and parking
	Charge     *Decimal `json:"charge" swaggertype:"number"`      // that the buyer is to pay; default: as suggested
}

// DeliveryQuote is what a delivery costs and what to charge for it, apart from
// the price of the piece.
type DeliveryQuote struct {
	Distance     number   `json:"distance" swaggertype:"number"` // there and back
	DistanceUnit string   `json:"distance_unit" enums:"mi,km"`
	DistanceCost number   `json:"distance_cost" swaggertype:"number"` // of one
	Hours        number   `json:"hours" swaggertype:"number"`
	Vehicle      number   `json:"vehicle" swaggertype:"number"`
	Labor        number   `json:"labor" swaggertype:"number"` // one's own hours at their value
	HelperPay    number   `json:"helper_pay" swaggertype:"number"`
	Tolls        number   `json:"tolls" swaggertype:"number"`
	Cost         number   `json:"cost" swaggertype:"number"`             // all of them
	Suggested    number   `json:"suggested_charge" swaggertype:"number"` // the round price that covers the cost
	Charge       number   `json:"charge" swaggertype:"number"`           // asked for, or suggested_charge
	Profit       number   `json:"profit" swaggertype:"number"`           // of the delivery alone, the hours paid
	Sentences    []string `json:"sentences"`
}

// createDeliveryQuote says what a delivery costs and what to charge for it.
//
//	@Summary	Quote a delivery
//	@Tags		advice
//	@Param		delivery	body		DeliveryRequest	true	"what it takes"
//	@Success	200			{object}	DeliveryQuote
//	@Failure	default		{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/delivery-quotes [post]
func (s *Server) createDeliveryQuote(c *gin.Context, a *service.Actor) error {
	if err := paramsOf(c).done(); err != nil {
		return err
	}
	var body DeliveryRequest
	if err := readJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	d, err := body.read(a)
	if err != nil {
		return withPointers(err)
	}
	q, err := s.service.Advice.QuoteDelivery(a, d)
	if err != nil {
		return withPointers(err)
	}
	money := moneyIn(a.Group.Currency)
	return answer(c, http.StatusOK, DeliveryQuote{
		Distance: rounded(q.Distance, 1), DistanceUnit: a.Group.DistanceUnit(), DistanceCost: money(q.DistanceCost), Hours: rounded(q.Hours, 2),
		Vehicle: money(q.Vehicle), Labor: money(q.Labor), HelperPay: money(q.HelperPay), Tolls: money(q.Tolls), Cost: money(q.Cost),
		Suggested: money(q.Suggested), Charge: money(q.Charge), Profit: money(q.Profit), Sentences: q.Sentences,
	})
}

func (r *DeliveryRequest) read(a *service.Actor) (advice.Delivery, error) {
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
func amountOf(a *service.Actor, name string, sent *Decimal) (*service.Money, error) {
	if sent == nil {
		return nil, nil
	}
	m, err := service.ParseMoney(string(*sent), a.Group.Currency, '.')
	if err != nil {
		return nil, service.Invalid(name, "%v", err)
	}
	return &m, nil
}
