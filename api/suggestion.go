package api

import (
	"slices"

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
//	@Summary		Suggest asking prices
//	@Description	A subject that cannot be read has its errors, the others their answers; 422 where none can, or of a CSV one.
//	@Tags		advice
//	@Param		query	query		web.TableQuery			false	"of a CSV: its form"
//	@Param		body	body		wire.SuggestionsRequest	true	"at most 500 subjects"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.SuggestionsAnswer
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/suggestions [post]
func (s *Server) createSuggestions(r web.Request, in wire.SuggestionsRequest) (out wire.SuggestionsAnswer, err error) {
	within := wire.WithinDefault
	if in.WithinDays != nil {
		within = *in.WithinDays
	}
	if err := s.Limit(r.Context, r.Actor, len(in.Subjects)/web.SubjectsPerUnit); err != nil {
		return out, err
	}
	subjects := web.Each(in.Subjects, func(cells wire.Cells) advice.Subject { return advice.Subject(cells) })
	found, err := s.app.Advice.SuggestIf(r.Request.Context(), r.Actor, subjects, service.Cells(in.AndIf), within)
	if err == nil && r.Form == web.FormCSV {
		err = wholeOrNone(web.Each(found, func(f advice.Suggestion) []service.FieldError { return f.Errors }))
	}
	v := wire.ViewerOf(r.Actor)
	out.Items = web.Each(found, func(f advice.Suggestion) wire.Suggestion { return v.Suggestion(f, within) })
	return out, err
}

// wholeOrNone refuses a table in which some subjects were not read: a line has no
// place for why.
func wholeOrNone(faults [][]service.FieldError) error {
	if all := slices.Concat(faults...); all != nil {
		return &service.InvalidError{Fields: all}
	}
	return nil
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
func (s *Server) getSuggestion(r web.Request, in wire.WithinQuery) (out wire.Suggestion, err error) {
	found, err := s.app.Advice.SuggestFor(r.Request.Context(), r.Actor, r.ID, in.WithinDays)
	if err != nil {
		return out, err
	}
	return wire.ViewerOf(r.Actor).Suggestion(*found, in.WithinDays), nil
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
