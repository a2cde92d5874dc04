package api

import (
	"askwright/api/web"
	"askwright/api/wire"
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
func (s *Server) createRefinishEstimates(r web.Request, in wire.RefinishEstimatesRequest) (out wire.RefinishEstimatesAnswer, err error) {
	n := advice.DefaultFinishes
	if in.Finishes != nil {
		n = *in.Finishes
	}
	if err := s.Limit(r.Context, r.Actor, len(in.Subjects)/web.SubjectsPerUnit); err != nil {
		return out, err
	}
	subjects := web.Each(in.Subjects, func(sub wire.RefinishSubject) advice.RefinishSubject {
		return advice.RefinishSubject{Subject: advice.Subject(sub.Row), Plan: sub.Plan.Plan()}
	})
	found, err := s.app.Advice.RefinishEstimates(r.Request.Context(), r.Actor, subjects, n)
	out.Items = make([]wire.RefinishEstimate, len(found))
	v := wire.ViewerOf(r.Actor)
	for i := range found {
		out.Items[i] = v.RefinishEstimate(&found[i], r.Actor.Group)
	}
	return out, err
}
