package wire

import (
	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/service"
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
	Model      string     `json:"model" example:"4.412.2026-03-05"`
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

// Task shows a task.
func (v Viewer) Task(t advice.Task) Task {
	money := web.MoneyIn(v.Currency)
	return Task{
		Ref: t.Row.Ref, ID: t.Row.ID, Category: t.Row.Category, Action: t.Action, Finish: t.Finish, Color: t.Color, Ask: web.Known(t.Ask, money),
		Hours: web.Rounded(t.Hours, 2), Materials: web.Exact(t.Materials, v.Currency), DaysOut: t.DaysOut, ExpectedNet: money(t.ExpectedNet),
		Gain: money(t.Gain), GainPerHour: Optional(t.GainPerHour, money), Sentence: t.Sentence, Cautions: Cautions(t.Cautions),
	}
}

// WorkQueue shows the plan for what was asked.
func (v Viewer) WorkQueue(q advice.WorkQuery, plan *advice.WorkQueue) WorkQueue {
	together := func(t advice.Together) Together { return Together{Product: t.Product, Refs: t.Refs} }
	return WorkQueue{
		Hours:      web.Rounded(plan.Hours, 2),
		HoursLimit: web.Rounded(q.Hours, 2),
		Money:      web.Exact(plan.Materials, v.Currency),
		MoneyLimit: web.Exact(q.Money, v.Currency),
		Gain:       web.Exact(plan.Gain, v.Currency),
		Tasks:      web.Each(plan.Tasks, v.Task),
		Together:   web.Each(plan.Together, together),
		Left:       web.Each(plan.Left, v.Task),
		Model:      plan.Model,
		Labels:     plan.Labels,
		Sentences:  Sentences(plan.Sentences),
	}
}

// TaskTable has a line for each task.
var TaskTable = web.TableOf(web.ColumnsOf[Task](`
	ref id category action finish color ask hours materials days_out expected_net gain gain_per_hour
	sentence cautions`), func(q WorkQueue) []Task { return q.Tasks })

// WorkQuery is what a week has.
type WorkQuery struct {
	Hours *float64    `form:"hours" binding:"required" example:"12"`                       // of work, 0 to 168
	Money web.Decimal `form:"money" binding:"required" swaggertype:"number" example:"150"` // for materials
	web.TableQuery
}

// Read reads what a week has; both must be told.
func (in WorkQuery) Read(a *service.Actor) (q advice.WorkQuery, err error) {
	if in.Hours == nil {
		return q, web.BadParameter("hours", "is missing: how many hours of work has the week?")
	}
	if in.Money == "" {
		return q, web.BadParameter("money", "is missing: how much is there for materials? 0 is an answer")
	}
	q.Hours = *in.Hours
	if q.Money, err = service.ParseMoney(string(in.Money), a.Group.Currency, '.'); err != nil {
		return q, web.BadParameter("money", "%v", err)
	}
	return q, nil
}
