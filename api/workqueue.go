package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/advice"
)

// getWorkQueue says which of the member's own pieces to work on, reprice or let
// go within the hours and the money of a week: the exact best choice, each line
// with its reason. CSV has the tasks.
//
//	@Summary	Plan a week of work
//	@Tags		advice
//	@Param		query	query	wire.WorkQuery	true	"limits"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.WorkQueue
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/work-queue [get]
//	@Router		/v1/work-queue.csv [get]
func (s *Server) getWorkQueue(c *gin.Context, a *service.Actor) error {
	form, err := web.WantedForm(c)
	if err != nil {
		return err
	}
	p := web.ParamsOf(c)
	q := advice.WorkQuery{}
	hours, told := p.Number("hours")
	if !told {
		p.Refuse("hours", "is missing: how many hours of work has the week?")
	}
	q.Hours = hours
	money := p.Text("money")
	if q.Money, err = service.ParseMoney(money, a.Group.Currency, '.'); money == "" {
		p.Refuse("money", "is missing: how much is there for materials? 0 is an answer")
	} else if err != nil {
		p.Refuse("money", "%v", err)
	}
	options := web.CsvParams(p, form, web.ColumnNames(wire.TaskColumns))
	if err := p.Done(); err != nil {
		return err
	}
	if web.NotModified(c, s.ListTag(c, a, form)) {
		return nil
	}
	plan, err := s.app.Advice.WorkQueue(c.Request.Context(), a, q)
	if err != nil {
		return web.InQuery(err)
	}
	v := wire.ViewerOf(a)
	tasks := web.Each(plan.Tasks, v.Task)
	if form == web.FormCSV {
		return web.WriteTable(c, "work-queue.csv", wire.TaskColumns, options, tasks)
	}
	return web.Answer(c, http.StatusOK, wire.WorkQueue{
		Hours: web.Rounded(plan.Hours, 2), HoursLimit: web.Rounded(q.Hours, 2), Money: web.Exact(plan.Materials, v.Currency), MoneyLimit: web.Exact(q.Money, v.Currency),
		Gain: web.Exact(plan.Gain, v.Currency), Tasks: tasks, Left: web.Each(plan.Left, v.Task), Model: plan.Model, Labels: plan.Labels, Sentences: wire.Sentences(plan.Sentences),
		Together: web.Each(plan.Together, func(t advice.Together) wire.Together { return wire.Together{Product: t.Product, Refs: t.Refs} }),
	})
}
