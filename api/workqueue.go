package api

import (
	"net/http"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/service"
	"askwright/service/advice"
)

// WorkQueue is the best use of a week's hours and money on one's own pieces.
type WorkQueue struct {
	Hours      number     `json:"hours" swaggertype:"number"` // that the tasks take
	HoursLimit number     `json:"hours_limit" swaggertype:"number"`
	Money      number     `json:"money" swaggertype:"number"` // for their materials
	MoneyLimit number     `json:"money_limit" swaggertype:"number"`
	Gain       number     `json:"gain" swaggertype:"number"` // of all, over leaving everything
	Tasks      []Task     `json:"tasks"`                     // what an hour of which gains most first
	Together   []Together `json:"together"`                  // tasks that share a color or a topcoat
	Left       []Task     `json:"left"`                      // the best task of each other piece, and why not
	Model      string     `json:"model" example:"2.412.2026-03-05"`
	Labels     []string   `json:"labels,omitempty" example:"hour_value_unknown"`
	Sentences  []string   `json:"sentences"`
}

// Task is one thing to do to one piece.
type Task struct {
	Ref         string    `json:"ref"`
	ID          uuid.UUID `json:"id" format:"uuid"` // of the row
	Category    string    `json:"category"`
	Action      string    `json:"action" enums:"finish,offer,reprice,renew,refinish,withdraw"` // finish and offer: of a piece in the yard
	Finish      string    `json:"finish,omitempty"`
	Color       string    `json:"color,omitempty"`
	Ask         *number   `json:"ask,omitempty" swaggertype:"number"`
	Hours       number    `json:"hours" swaggertype:"number"`
	Materials   number    `json:"materials" swaggertype:"number"`    // the share used
	DaysOut     int       `json:"days_out"`                          // until it can be offered
	ExpectedNet number    `json:"expected_net" swaggertype:"number"` // from now on, money spent so far ignored
	Gain        number    `json:"gain" swaggertype:"number"`         // over waiting, or over letting it go
	GainPerHour *number   `json:"gain_per_hour,omitempty" swaggertype:"number"`
	Sentence    string    `json:"sentence"`
	Cautions    []Caution `json:"cautions"`
}

// Together are tasks to do in one session.
type Together struct {
	Product string   `json:"product" example:"paint navy"`
	Refs    []string `json:"refs"`
}

func (v viewer) task(t advice.Task) Task {
	money := moneyIn(v.currency)
	return Task{
		Ref: t.Row.Ref, ID: t.Row.ID, Category: t.Row.Category, Action: t.Action, Finish: t.Finish, Color: t.Color, Ask: known(t.Ask, money),
		Hours: rounded(t.Hours, 2), Materials: exact(t.Materials, v.currency), DaysOut: t.DaysOut, ExpectedNet: money(t.ExpectedNet),
		Gain: money(t.Gain), GainPerHour: optional(t.GainPerHour, money), Sentence: t.Sentence, Cautions: cautions(t.Cautions),
	}
}

var taskColumns = columnsOf[Task](`
	ref id category action finish color ask hours materials days_out expected_net gain gain_per_hour
	sentence cautions`)

// WorkQuery is what a week has.
type WorkQuery struct {
	Hours float64 `form:"hours" binding:"required" example:"12"`  // of work, 0 to 168
	Money float64 `form:"money" binding:"required" example:"150"` // for materials
	TableQuery
}

// getWorkQueue says which of the member's own pieces to work on, reprice or let
// go within the hours and the money of a week: the exact best choice, each line
// with its reason. CSV has the tasks.
//
//	@Summary	Plan a week of work
//	@Tags		advice
//	@Param		query	query	WorkQuery	true	"limits"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	WorkQueue
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/work-queue [get]
//	@Router		/v1/work-queue.csv [get]
func (s *Server) getWorkQueue(c *gin.Context, a *service.Actor) error {
	form, err := wantedForm(c)
	if err != nil {
		return err
	}
	p := paramsOf(c)
	q := advice.WorkQuery{}
	hours, told := p.number("hours")
	if !told {
		p.refuse("hours", "is missing: how many hours of work has the week?")
	}
	q.Hours = hours
	money := p.text("money")
	if q.Money, err = service.ParseMoney(money, a.Group.Currency, '.'); money == "" {
		p.refuse("money", "is missing: how much is there for materials? 0 is an answer")
	} else if err != nil {
		p.refuse("money", "%v", err)
	}
	options := csvParams(p, form, columnNames(taskColumns))
	if err := p.done(); err != nil {
		return err
	}
	if notModified(c, s.listTag(c, a, form)) {
		return nil
	}
	plan, err := s.service.Advice.WorkQueue(c.Request.Context(), a, q)
	if err != nil {
		return inQuery(err)
	}
	v := viewerOf(a)
	tasks := each(plan.Tasks, v.task)
	if form == formCSV {
		return writeTable(c, "work-queue.csv", taskColumns, options, tasks)
	}
	return answer(c, http.StatusOK, WorkQueue{
		Hours: rounded(plan.Hours, 2), HoursLimit: rounded(q.Hours, 2), Money: exact(plan.Materials, v.currency), MoneyLimit: exact(q.Money, v.currency),
		Gain: exact(plan.Gain, v.currency), Tasks: tasks, Left: each(plan.Left, v.task), Model: plan.Model, Labels: plan.Labels, Sentences: plan.Sentences,
		Together: each(plan.Together, func(t advice.Together) Together { return Together{Product: t.Product, Refs: t.Refs} }),
	})
}
