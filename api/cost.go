package api

import (
	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
)

// listCosts tells what one of the key's own member's pieces cost, line by line,
// over all of its listings. To everybody else it is not there.
//
//	@Summary	List a piece's costs and hours
//	@Tags		ledger
//	@Param		id		path	string		true	"id of the piece"
//	@Param		query	query	web.TableQuery	false	"form of the CSV"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.CostPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces/{id}/costs [get]
//	@Router		/v1/pieces/{id}/costs.csv [get]
func (s *Server) listCosts(r web.Request, _ web.TableQuery) ([]wire.CostLine, error) {
	lines, err := s.app.Recording.Costs(r.Request.Context(), r.Actor, r.ID)
	return web.Each(lines, wire.ViewerOf(r.Actor).Cost), err
}

// createCost adds a cost line to the newest row of a piece, or undoes one.
// Nothing is overwritten: the row's total goes up, or down again.
//
//	@Summary	Record a cost or hours, or undo one
//	@Tags		ledger
//	@Param		id		path		string	true	"id of the piece"
//	@Param		cost	body		wire.NewCost	true	"kind with amount or hours; or voids"
//	@Success	201		{object}	wire.CostLine
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces/{id}/costs [post]
func (s *Server) createCost(r web.Request, in wire.NewCost) (out wire.CostLine, err error) {
	cost := service.NewCost{
		Kind: in.Kind, Amount: string(in.Amount), Hours: string(in.Hours), On: in.On, Step: in.Step, Note: in.Note,
	}
	if in.Voids != nil {
		cost.Voids = *in.Voids
	}
	line, err := s.app.Recording.AddCost(r.Request.Context(), r.Actor, r.ID, cost)
	if err != nil {
		return out, err
	}
	return wire.ViewerOf(r.Actor).Cost(*line), nil
}
