package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

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
	id, err := web.PathID(r.Context)
	if err != nil {
		return nil, err
	}
	lines, err := s.app.Recording.Costs(r.Request.Context(), r.Actor, id)
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
func (s *Server) createCost(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	var body wire.NewCost
	if err := web.ReadJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	cost := service.NewCost{
		Kind: body.Kind, Amount: string(body.Amount), Hours: string(body.Hours), On: body.On, Step: body.Step, Note: body.Note,
	}
	if body.Voids != nil {
		cost.Voids = *body.Voids
	}
	line, err := s.app.Recording.AddCost(c.Request.Context(), a, id, cost)
	if err != nil {
		return web.WithPointers(err)
	}
	return web.Answer(c, http.StatusCreated, wire.ViewerOf(a).Cost(*line))
}
