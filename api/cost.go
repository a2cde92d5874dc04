package api

import (
	"net/http"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/service"
)

// CostLine is a dated line of a piece's ledger; only the piece's owner sees it.
type CostLine struct {
	ID        uuid.UUID  `json:"id" format:"uuid"`
	On        string     `json:"on" format:"date"`
	Kind      string     `json:"kind" enums:"purchase_cost,pickup_cost,materials_cost,other_cost,fees,delivery_charged,delivery_cost,hours,hours_other"`
	Amount    *number    `json:"amount,omitempty" swaggertype:"number"` // money; of a line that undoes another, negative
	Hours     *number    `json:"hours,omitempty" swaggertype:"number"`  // of the kinds hours and hours_other
	Step      string     `json:"step,omitempty" example:"strip"`        // of hours: what was done
	Note      string     `json:"note,omitempty"`                        // free text
	Ref       string     `json:"ref"`                                   // of the row whose total it is part of
	ListingID uuid.UUID  `json:"listing_id" format:"uuid"`              // of that row
	At        time.Time  `json:"at" format:"date-time"`                 // when it was recorded
	Voids     *uuid.UUID `json:"voids,omitempty" format:"uuid"`         // the line that it undoes
	VoidedBy  *uuid.UUID `json:"voided_by,omitempty" format:"uuid"`     // the line that undid it
}

// CostPage is a piece's ledger by its days.
type CostPage struct {
	Items []CostLine `json:"items"`
}

// NewCost asks for a cost line: of a kind, or one that undoes another.
type NewCost struct {
	Kind   string     `json:"kind" enums:"purchase_cost,pickup_cost,materials_cost,other_cost,fees,delivery_charged,delivery_cost,hours,hours_other"`
	Amount Decimal    `json:"amount" swaggertype:"number" example:"24.50"` // of money
	Hours  Decimal    `json:"hours" swaggertype:"number" example:"2.5"`    // of the kinds hours and hours_other
	On     string     `json:"on" format:"date"`                            // default: today
	Step   string     `json:"step" example:"strip"`                        // of hours; open list: clean, repair, strip, sand, mask, prime, paint ...
	Note   string     `json:"note"`                                        // free text
	Voids  *uuid.UUID `json:"voids" format:"uuid"`                         // the line to undo; beside it only a note
}

func (v viewer) cost(l service.CostLine) CostLine {
	out := CostLine{
		ID: l.ID, On: l.On.String(), Kind: string(l.Kind), Step: l.Step, Note: l.Note, Ref: l.Ref, ListingID: l.ListingID,
		At: l.At.UTC(), Voids: optionalID(l.Voids), VoidedBy: optionalID(l.VoidedBy),
	}
	amount := number(service.FormatCost(l.Kind, l.Amount, v.currency))
	if l.Kind.IsHours() {
		out.Hours = &amount
	} else {
		out.Amount = &amount
	}
	return out
}

func optionalID(id uuid.UUID) *uuid.UUID {
	if id == uuid.Nil {
		return nil
	}
	return &id
}

var costColumns = columnsOf[CostLine](`
	id on kind amount hours step note ref listing_id at voids voided_by`)

// listCosts tells what one of the key's own member's pieces cost, line by line,
// over all of its listings. To everybody else it is not there.
//
//	@Summary	List a piece's costs and hours
//	@Tags		ledger
//	@Param		id		path	string		true	"id of the piece"
//	@Param		query	query	TableQuery	false	"form of the CSV"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	CostPage
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces/{id}/costs [get]
//	@Router		/v1/pieces/{id}/costs.csv [get]
func (s *Server) listCosts(r request, _ TableQuery) ([]CostLine, error) {
	id, err := pathID(r.Context)
	if err != nil {
		return nil, err
	}
	lines, err := s.service.Recording.Costs(r.Request.Context(), r.actor, id)
	return each(lines, viewerOf(r.actor).cost), err
}

// createCost adds a cost line to the newest row of a piece, or undoes one.
// Nothing is overwritten: the row's total goes up, or down again.
//
//	@Summary	Record a cost or hours, or undo one
//	@Tags		ledger
//	@Param		id		path		string	true	"id of the piece"
//	@Param		cost	body		NewCost	true	"kind with amount or hours; or voids"
//	@Success	201		{object}	CostLine
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces/{id}/costs [post]
func (s *Server) createCost(c *gin.Context, a *service.Actor) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	if err := paramsOf(c).done(); err != nil {
		return err
	}
	var body NewCost
	if err := readJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	cost := service.NewCost{
		Kind: body.Kind, Amount: string(body.Amount), Hours: string(body.Hours), On: body.On, Step: body.Step, Note: body.Note,
	}
	if body.Voids != nil {
		cost.Voids = *body.Voids
	}
	line, err := s.service.Recording.AddCost(c.Request.Context(), a, id, cost)
	if err != nil {
		return withPointers(err)
	}
	return answer(c, http.StatusCreated, viewerOf(a).cost(*line))
}
