package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
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
func (s *Server) createDeliveryQuote(c *gin.Context, a *service.Actor) error {
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	var body wire.DeliveryRequest
	if err := web.ReadJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	d, err := body.Read(a)
	if err != nil {
		return web.WithPointers(err)
	}
	q, err := s.app.Advice.QuoteDelivery(a, d)
	if err != nil {
		return web.WithPointers(err)
	}
	money := web.MoneyIn(a.Group.Currency)
	return web.Answer(c, http.StatusOK, wire.DeliveryQuote{
		Distance: web.Rounded(q.Distance, 1), DistanceUnit: a.Group.DistanceUnit(), DistanceCost: money(q.DistanceCost), Hours: web.Rounded(q.Hours, 2),
		Vehicle: money(q.Vehicle), Labor: money(q.Labor), HelperPay: money(q.HelperPay), Tolls: money(q.Tolls), Cost: money(q.Cost),
		Suggested: money(q.Suggested), Charge: money(q.Charge), Profit: money(q.Profit), Sentences: wire.Sentences(q.Sentences),
	})
}
