package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/advice"
)

// listComparables answers with the nearest listings, each adjusted to the
// subject.
//
//	@Summary	Find comparables
//	@Tags		advice
//	@Param		query	query	wire.ComparableQuery	false	"the subject"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.ComparablePage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/comparables [get]
//	@Router		/v1/comparables.csv [get]
func (s *Server) listComparables(r web.Request, in wire.ComparableQuery) ([]wire.Comparable, error) {
	found, err := s.app.Advice.Comparables(r.Request.Context(), r.Actor, in.Subject, in.Limit)
	return web.Each(found, wire.ViewerOf(r.Actor).Comparable), err
}

// createSuggestions answers for some subjects, in order; as CSV with a line for
// each.
//
//	@Summary	Suggest asking prices
//	@Tags		advice
//	@Param		query	query		web.TableQuery			false	"of a CSV: its form"
//	@Param		body	body		wire.SuggestionsRequest	true	"at most 500 subjects"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.SuggestionsAnswer
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/suggestions [post]
func (s *Server) createSuggestions(c *gin.Context, a *service.Actor) error {
	form, err := web.WantedForm(c)
	if err != nil {
		return err
	}
	p := web.ParamsOf(c)
	options := web.CsvParams(p, form, web.ColumnNames(wire.AdviceColumns))
	if err := p.Done(); err != nil {
		return err
	}
	var body wire.SuggestionsRequest
	if err := web.ReadJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	within := wire.WithinDefault
	if body.WithinDays != nil {
		within = *body.WithinDays
	}
	if err := s.Limit(c, a, len(body.Subjects)/web.SubjectsPerUnit); err != nil {
		return err
	}
	subjects := make([]advice.Subject, len(body.Subjects))
	for i, cells := range body.Subjects {
		subjects[i] = advice.Subject(cells)
	}
	found, err := s.app.Advice.SuggestIf(c.Request.Context(), a, subjects, service.Cells(body.AndIf), within)
	if err != nil {
		return web.WithPointers(err)
	}
	out := wire.SuggestionsAnswer{Suggestions: make([]wire.Suggestion, len(found))}
	v := wire.ViewerOf(a)
	for i, f := range found {
		out.Suggestions[i] = v.Suggestion(f, within)
	}
	if form == web.FormCSV {
		return web.WriteTable(c, "suggestions.csv", wire.AdviceColumns, options, out.Suggestions)
	}
	return web.Answer(c, http.StatusOK, out)
}

// getSuggestion answers for a listing on file, at its age.
//
//	@Summary	Suggest an asking price for a listing on file
//	@Tags		advice
//	@Param		id			path		string	true	"id of the listing"
//	@Param		within_days	query		int		false	"1 to 730"	default(30)
//	@Success	200			{object}	wire.Suggestion
//	@Failure	default		{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/listings/{id}/suggestion [get]
func (s *Server) getSuggestion(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	p := web.ParamsOf(c)
	within := wire.ReadWithin(p)
	if err := p.Done(); err != nil {
		return err
	}
	found, err := s.app.Advice.SuggestFor(c.Request.Context(), a, id, within)
	if err != nil {
		return err
	}
	if web.NotModified(c, s.ListTag(c, a, web.FormJSON)) {
		return nil
	}
	return web.Answer(c, http.StatusOK, wire.ViewerOf(a).Suggestion(*found, within))
}

// listSuggestions answers for the group's own open listings, at their ages.
//
//	@Summary	Suggest asking prices for the open listings
//	@Tags		advice
//	@Param		query	query	wire.SuggestionQuery	false	"filters"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.OpenSuggestionPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/suggestions [get]
//	@Router		/v1/suggestions.csv [get]
func (s *Server) listSuggestions(r web.Request, in wire.SuggestionQuery) ([]wire.OpenSuggestion, error) {
	member, err := s.MemberNamed(r, in.Member)
	if err != nil {
		return nil, err
	}
	found, err := s.app.Advice.SuggestOpen(r.Request.Context(), r.Actor, member, in.WithinDays)
	s.Owe(r.Actor, len(found)/web.SubjectsPerUnit)
	v := wire.ViewerOf(r.Actor)
	return web.Each(found, func(f advice.OpenSuggestion) wire.OpenSuggestion { return v.OpenSuggestion(f, in.WithinDays) }), err
}
