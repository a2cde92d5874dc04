package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/advice"
)

// createRefinishEstimates answers for some subjects, in order.
//
//	@Summary	Reckon refinishing work and rank finishes
//	@Tags		advice
//	@Param		body	body		wire.RefinishEstimatesRequest	true	"at most 500 subjects"
//	@Success	200		{object}	wire.RefinishEstimatesAnswer
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/refinish-estimates [post]
func (s *Server) createRefinishEstimates(c *gin.Context, a *service.Actor) error {
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	var body wire.RefinishEstimatesRequest
	if err := web.ReadJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	n := advice.DefaultFinishes
	if body.Finishes != nil {
		n = *body.Finishes
	}
	if err := s.Limit(c, a, len(body.Subjects)/web.SubjectsPerUnit); err != nil {
		return err
	}
	subjects := make([]advice.RefinishSubject, len(body.Subjects))
	for i, sub := range body.Subjects {
		subjects[i] = advice.RefinishSubject{Subject: advice.Subject(sub.Row), Plan: sub.Plan.Plan()}
	}
	found, err := s.app.Advice.RefinishEstimates(c.Request.Context(), a, subjects, n)
	if err != nil {
		return web.WithPointers(err)
	}
	out := wire.RefinishEstimatesAnswer{Estimates: make([]wire.RefinishEstimate, len(found))}
	v := wire.ViewerOf(a)
	for i := range found {
		out.Estimates[i] = v.RefinishEstimate(&found[i], a.Group)
	}
	return web.Answer(c, http.StatusOK, out)
}
