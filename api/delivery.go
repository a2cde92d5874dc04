package api

import (
	"askwright/api/web"
	"askwright/api/wire"
)

// createDeliveryQuote says what a delivery costs and what to charge for it.
//
//	@Summary	Quote a delivery
//	@Tags		advice
//	@Param		delivery	body		wire.DeliveryRequest	true	"what it takes"
//	@Success	200			{object}	wire.DeliveryQuote
//	@Failure	default		{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/delivery-quotes [post]
func (s *Server) createDeliveryQuote(r web.Request, in wire.DeliveryRequest) (out wire.DeliveryQuote, err error) {
	d, err := in.Read(r.Actor)
	if err != nil {
		return out, err
	}
	q, err := s.app.Advice.QuoteDelivery(r.Actor, d)
	if err != nil {
		return out, err
	}
	money := web.MoneyIn(r.Actor.Group.Currency)
	return wire.DeliveryQuote{
		Distance: web.Rounded(q.Distance, 1), DistanceUnit: r.Actor.Group.DistanceUnit(), DistanceCost: money(q.DistanceCost),
		Hours: web.Rounded(q.Hours, 2), Vehicle: money(q.Vehicle), Labor: money(q.Labor), HelperPay: money(q.HelperPay),
		Tolls: money(q.Tolls), Cost: money(q.Cost), Suggested: money(q.Suggested), Charge: money(q.Charge),
		Profit: money(q.Profit), Sentences: wire.Sentences(q.Sentences),
	}, nil
}
