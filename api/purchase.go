package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/advice"
)

// createPurchaseLimits says what to pay at most for some finds, in order.
//
//	@Summary		Say what to pay at most for pieces as they stand
//	@Description	A CSV of finds is taken, too, with the target in the address; Accept: text/csv answers one line for each.
//	@Tags			advice
//	@Accept			json,text/csv
//	@Produce		json,text/csv,application/problem+json
//	@Param			query	query		wire.PurchaseQuery	false	"for CSV"
//	@Param			body	body		wire.PurchaseRequest	true	"at most 500 subjects"
//	@Success		200		{object}	wire.PurchaseLimitsAnswer
//	@Failure		default	{object}	web.Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/purchase-limits [post]
func (s *Server) createPurchaseLimits(c *gin.Context, a *service.Actor) error {
	form, err := web.WantedForm(c)
	if err != nil {
		return err
	}
	if err := web.WantMediaType(c, "application/json", "text/csv"); err != nil {
		return err
	}
	p := web.ParamsOf(c)
	options := web.CsvParams(p, form, web.ColumnNames(wire.PurchaseColumns))
	finds, target, err := s.finds(c, a, p)
	if err != nil {
		return err
	}
	if err := s.Limit(c, a, len(finds)/web.SubjectsPerUnit); err != nil {
		return err
	}
	found, err := s.app.Advice.PurchaseLimits(c.Request.Context(), a, finds, target)
	if err == nil && form == web.FormCSV {
		err = wholeOrNone(web.Each(found.Limits, func(l advice.PurchaseLimit) []service.FieldError { return l.Errors }))
	}
	if err != nil {
		return web.WithPointers(err)
	}
	out := wire.PurchaseLimitsAnswer{Items: web.Each(found.Limits, wire.ViewerOf(a).PurchaseLimit), RankedBy: found.RankedBy}
	if form == web.FormCSV {
		return web.WriteTable(c, "purchase-limits.csv", wire.PurchaseColumns, options, out.Items)
	}
	return web.Answer(c, http.StatusOK, out)
}

// finds reads the body: finds with their target as JSON, or as CSV with the
// target in the address.
func (s *Server) finds(c *gin.Context, a *service.Actor, p *web.Params) ([]service.Cells, advice.PurchaseTarget, error) {
	var body wire.PurchaseRequest
	if web.MediaTypeOf(c) != "text/csv" {
		if err := p.Done(); err != nil {
			return nil, advice.PurchaseTarget{}, err
		}
		if err := web.ReadJSON(c, s.limits.BodyBytes, &body); err != nil {
			return nil, advice.PurchaseTarget{}, err
		}
		target, err := body.Target.Read(a)
		return web.Each(body.Subjects, func(cells wire.FindCells) service.Cells { return service.Cells(cells) }), target, err
	}
	var in wire.PurchaseQuery
	web.BindQuery(p, &in)
	if err := p.Done(); err != nil {
		return nil, advice.PurchaseTarget{}, err
	}
	asked := &wire.PurchaseTarget{MarginPercent: in.MarginPercent, Hourly: in.Hourly, Profit: in.Profit}
	target, err := asked.Read(a)
	if err != nil {
		return nil, target, web.InQuery(err)
	}
	finds, err := wire.CsvFinds(c)
	return finds, target, err
}
