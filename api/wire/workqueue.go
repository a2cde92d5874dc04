package wire

import (
	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/service/advice"
)

// WorkQueue is the best use of a week's hours and money on one's own pieces.
type WorkQueue struct {
	Hours      web.Number `json:"hours" swaggertype:"number"` // that the tasks take
	HoursLimit web.Number `json:"hours_limit" swaggertype:"number"`
	Money      web.Number `json:"money" swaggertype:"number"` // for their materials
	MoneyLimit web.Number `json:"money_limit" swaggertype:"number"`
	Gain       web.Number `json:"gain" swaggertype:"number"` // of all, over leaving everything
	Tasks      []Task     `json:"tasks"`                     // what an hour of which gains most first
	Together   []Together `json:"together"`                  // tasks that share a color or a topcoat
	Left       []Task     `json:"left"`                      // the best task of each other piece, and why not
	Model      string     `json:"model" example:"2.412.2026-03-05"`
	Labels     []string   `json:"labels,omitempty" example:"hour_value_unknown"`
	Sentences  []Sentence `json:"sentences"`
}

// Task is one thing to do to one piece.
type Task struct {
	Ref         string      `json:"ref"`
	ID          uuid.UUID   `json:"id" format:"uuid"` // of the row
	Category    string      `json:"category"`
	Action      string      `json:"action" enums:"finish,offer,reprice,renew,refinish,withdraw"` // finish and offer: of a piece in the yard
	Finish      string      `json:"finish,omitempty"`
	Color       string      `json:"color,omitempty"`
	Ask         *web.Number `json:"ask,omitempty" swaggertype:"number"`
	Hours       web.Number  `json:"hours" swaggertype:"number"`
	Materials   web.Number  `json:"materials" swaggertype:"number"`    // the share used
	DaysOut     int         `json:"days_out"`                          // until it can be offered
	ExpectedNet web.Number  `json:"expected_net" swaggertype:"number"` // from now on, money spent so far ignored
	Gain        web.Number  `json:"gain" swaggertype:"number"`         // over waiting, or over letting it go
	GainPerHour *web.Number `json:"gain_per_hour,omitempty" swaggertype:"number"`
	Sentence    string      `json:"sentence"`
	Cautions    []Caution   `json:"cautions"`
}

// Together are tasks to do in one session.
type Together struct {
	Product string   `json:"product" example:"paint navy"`
	Refs    []string `json:"refs"`
}

func (v Viewer) Task(t advice.Task) Task {
	money := web.MoneyIn(v.Currency)
	return Task{
		Ref: t.Row.Ref, ID: t.Row.ID, Category: t.Row.Category, Action: t.Action, Finish: t.Finish, Color: t.Color, Ask: web.Known(t.Ask, money),
		Hours: web.Rounded(t.Hours, 2), Materials: web.Exact(t.Materials, v.Currency), DaysOut: t.DaysOut, ExpectedNet: money(t.ExpectedNet),
		Gain: money(t.Gain), GainPerHour: Optional(t.GainPerHour, money), Sentence: t.Sentence, Cautions: Cautions(t.Cautions),
	}
}

var TaskColumns = web.ColumnsOf[Task](`
	ref id category action finish color ask hours materials days_out expected_net gain gain_per_hour
	sentence cautions`)

// WorkQuery is what a week has.
type WorkQuery struct {
	Hours float64 `form:"hours" binding:"required" example:"12"`  // of work, 0 to 168
	Money float64 `form:"money" binding:"required" example:"150"` // for materials
	web.TableQuery
}
