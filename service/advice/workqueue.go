package advice

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"askwright/pricing"
	"askwright/pricing/refinish"
	"askwright/service"
	"askwright/service/prose"
)

// WorkQuery asks what to do with a week.
type WorkQuery struct {
	Hours float64       // of work
	Money service.Money // for materials
}

// WorkQueue is the best use of a week's hours and money on one's own pieces.
type WorkQueue struct {
	Tasks     []Task // chosen, the best for an hour first
	Left      []Task // the best task of every other piece, the best for an hour first
	Hours     float64
	Materials service.Money
	Gain      service.Money
	Together  []Together
	Model     string
	Labels    []string // pricing.LabelHourValueUnknown
	Sentences []pricing.Sentence
}

// Task is one thing to do to one piece.
type Task struct {
	Row           *service.Listing
	Action        string // WorkFinish, WorkOffer, or the action of a remedy
	Finish, Color string
	Ask           float64
	Hours         float64
	Materials     service.Money
	DaysOut       int
	ExpectedNet   float64 // from now on, after the task
	Gain          float64 // over leaving it, the hours at their value taken off
	GainPerHour   *float64
	Sentence      string
	Cautions      []service.Caution

	products []string // with their colors, for Together
}

// The actions of tasks on pieces in the yard.
const (
	WorkFinish = "finish" // the look that is planned, or another one
	WorkOffer  = "offer"  // as it is
)

// Together are tasks that share a color or a topcoat: one session, brushes
// washed once.
type Together struct {
	Product string // "paint navy", "water_clear"
	Refs    []string
}

// offerHours is what photos and a post take. Common practice, no source.
const offerHours = 0.75

// yardLooks is how many looks of a piece in the yard compete.
const yardLooks = 5

// WorkQueue chooses among everything that pays on the actor's own pieces: the
// remedies of stale listings, and the looks of pieces in the yard, against
// letting them go. What was spent on a piece so far does not count; what was
// logged on one in work is taken off what is left to do.
// Finds are not in it: see PurchaseLimits.
func (s *Service) WorkQueue(ctx context.Context, a *service.Actor, q WorkQuery) (*WorkQueue, error) {
	if !service.Between(q.Hours, 0, 168) {
		return nil, service.Invalid("hours", "expected 0 to 168 hours of work in the week")
	}
	if !service.Between(q.Money, 0, service.MaxMinor) {
		return nil, service.Invalid("money", "expected 0 or more")
	}
	workshop, err := s.Workshop(ctx, a)
	if err != nil {
		return nil, err
	}
	tasks, err := s.staleTasks(ctx, a, workshop)
	if err != nil {
		return nil, err
	}
	fit, err := s.fits.Current(ctx, a)
	if err != nil {
		return nil, err
	}
	inTheYard := true
	err = s.store.EachListing(ctx, a.Tenant(), service.Query{Member: a.MemberID, InTheYard: &inTheYard}, func(l *service.Listing) error {
		if l.Stage != service.StageFound && !l.IsObserved() {
			tasks = append(tasks, stageTasks(a, fit.Model, l, workshop)...)
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read the pieces in the yard: %w", err)
	}
	out := choose(a, tasks, q)
	out.Model = fit.Version()
	return out, nil
}

// staleTasks are the remedies of the actor's stale listings that gain.
func (s *Service) staleTasks(ctx context.Context, a *service.Actor, w *Workshop) ([]Task, error) {
	reviews, err := s.Reviews(ctx, a, ReviewQuery{States: []string{pricing.StateStale}, Member: a.MemberID})
	if err != nil {
		return nil, err
	}
	var tasks []Task
	for _, r := range reviews {
		for _, remedy := range r.Remedies {
			if remedy.Action == pricing.ActionWait {
				continue
			}
			if r.Action == pricing.ActionCheck && remedy.Action == pricing.ActionRenew {
				continue // the free things come first: a new post would hide whether they helped
			}
			j := Task{
				Row: r.Row, Action: remedy.Action, Finish: remedy.Finish, Color: remedy.Color, Ask: remedy.Ask, Hours: remedy.Hours,
				DaysOut: remedy.DaysOut, ExpectedNet: remedy.ExpectedNet, Gain: remedy.Gain, Cautions: r.Cautions,
			}
			if remedy.Action == pricing.ActionRefinish {
				work, err := w.Estimate(r.Row, Plan{Finish: remedy.Finish, Color: remedy.Color})
				if err != nil {
					return nil, err
				}
				j.Materials, j.products, j.Cautions = work.Materials, coatings(&work.Work), work.Cautions
			}
			tasks = append(tasks, j)
		}
	}
	return tasks, nil
}

// doneGrade is what condition a piece in the yard is taken to have when it is
// done, if it was worse. Common practice, no source.
const doneGrade = 3

// stageTasks are the looks that a piece in the yard could get, each until it is
// on offer, and offering it as it is.
func stageTasks(a *service.Actor, m *pricing.Model, l *service.Listing, w *Workshop) []Task {
	settings := w.settings(a.Group.SettingsFor(l.Venue, a.Today))
	job := refinish.Job{Attributes: l.Attributes()}
	job.Condition = cmp.Or(l.Condition, l.Ledger.ConditionFound)
	job.Look.Condition = max(job.Condition, doneGrade)
	answer := m.Refinishes(pricing.RefinishQuery{Job: job, Estimate: l.Estimate.Major(a.Group.Currency)}, a.Today, settings)
	if answer.AsItIs == nil {
		return nil // too few sales
	}
	post := offerHours * settings.HourValue
	add := func(t Task) Task {
		t.Row, t.Hours, t.ExpectedNet = l, t.Hours+offerHours, t.ExpectedNet-post
		t.Gain = t.ExpectedNet - answer.LetGo
		return t
	}
	asItIs := *answer.AsItIs
	if paid := l.Ledger.Costs[service.CostPurchase]; answer.Proven < pricing.ProvenSales && paid > 0 {
		// Few sold in that state: what it was bought for says more.
		asFound := service.Money(paid).Major(a.Group.Currency)
		asItIs.ExpectedNet, asItIs.Ask, answer.LetGo = min(asItIs.ExpectedNet, asFound), min(asItIs.Ask, pricing.PricePoint(asFound)), min(answer.LetGo, asFound)
	}
	tasks := []Task{add(Task{Action: WorkOffer, Ask: asItIs.Ask, ExpectedNet: asItIs.ExpectedNet, Cautions: service.Occasion{Piece: l, Deeds: service.ToOffer}.Cautions()})}
	for _, f := range answer.Finishes[:min(yardLooks, len(answer.Finishes))] {
		hours, materials := stillToDo(a, l, f.Hours, f.Materials)
		tasks = append(tasks, add(Task{
			Action: WorkFinish, Finish: f.Finish, Color: f.Color, Ask: f.Ask, Hours: hours, Materials: service.MoneyOf(materials, a.Group.Currency),
			DaysOut:     int(math.Ceil(float64(f.DaysOut) * (hours + 1e-9) / (f.Hours + 1e-9))),
			ExpectedNet: f.ExpectedNet + (f.Hours-hours)*settings.HourValue + f.Materials - materials,
			Cautions:    service.Occasion{Piece: l, Work: []*refinish.Work{&f.Work}}.Cautions(), products: coatings(&f.Work),
		}))
	}
	return tasks
}

// stillToDo is what a look still takes of a piece: what was logged on it is
// done, whatever the look, but it was at most half of the work.
func stillToDo(a *service.Actor, l *service.Listing, hours, materials float64) (float64, float64) {
	logged := l.Ledger.Costs
	return hours - min(logged.Hours().Float(), hours/2),
		materials - min(logged.Money(service.CostMaterials).Major(a.Group.Currency), materials/2)
}

// coatings are the paint, with its color, and the clear coats of some work.
func coatings(w *refinish.Work) []string {
	var out []string
	for _, p := range w.Products {
		switch p.Name {
		case refinish.ProductPaint, refinish.ProductStain:
			out = append(out, strings.TrimSpace(p.Name+" "+w.Look.Color))
		case refinish.ProductWaterClear, refinish.ProductOilClear, refinish.ProductLacquer, refinish.ProductShellac:
			out = append(out, p.Name)
		}
	}
	return out
}

// choose plans the week and explains it line by line.
func choose(a *service.Actor, tasks []Task, q WorkQuery) *WorkQueue {
	options := make([]refinish.Task, len(tasks))
	for i := range tasks {
		j := &tasks[i]
		options[i] = refinish.Task{Piece: j.Row.PieceID.String(), Hours: j.Hours, Money: j.Materials.Major(a.Group.Currency), Gain: j.Gain}
		if j.Hours > 0 {
			j.GainPerHour = new(j.Gain / j.Hours)
		}
		j.Sentence = taskSentence(a, j)
	}
	plan := refinish.PlanWork(options, q.Hours, q.Money.Major(a.Group.Currency))
	out := &WorkQueue{Hours: plan.Hours, Gain: service.MoneyOf(plan.Gain, a.Group.Currency)}
	if a.Group.HourValue == 0 {
		out.Labels = []string{pricing.LabelHourValueUnknown}
	}
	chosen := make(map[string]bool)
	for _, i := range plan.Tasks {
		chosen[options[i].Piece] = true
		out.Tasks = append(out.Tasks, tasks[i])
		out.Materials += tasks[i].Materials
	}
	out.Left = leftOut(a, tasks, chosen, q)
	out.Together = together(out.Tasks)
	out.Sentences = weekSentences(a, out, q)
	return out
}

// leftOut is the best task of each piece that was not chosen, with the reason.
func leftOut(a *service.Actor, tasks []Task, chosen map[string]bool, q WorkQuery) []Task {
	best := make(map[string]Task)
	for _, j := range tasks {
		piece := j.Row.PieceID.String()
		if b, ok := best[piece]; !chosen[piece] && (!ok || j.isBetter(b)) {
			best[piece] = j
		}
	}
	out := make([]Task, 0, len(best))
	for _, j := range best {
		switch {
		case j.Gain <= 0:
			j.Sentence = "No work pays. List it as is for what you can get, or donate it."
		case j.Hours > q.Hours:
			j.Sentence += fmt.Sprintf(" Not this week: there are only %s hours.", service.HoursText(q.Hours))
		case j.Materials > q.Money:
			j.Sentence += fmt.Sprintf(" The materials cost more than the %s at hand.", prose.In(a.Group.Currency).Money(q.Money.Major(a.Group.Currency)))
		default:
			j.Sentence += " Others net more for these hours and this money."
		}
		out = append(out, j)
	}
	slices.SortFunc(out, func(x, y Task) int {
		return cmp.Or(cmp.Compare(y.rank(), x.rank()), cmp.Compare(x.Row.Ref, y.Row.Ref), cmp.Compare(x.Row.ID.String(), y.Row.ID.String()))
	})
	return out
}

// rank is what an hour gains; a task without hours is before or after all.
func (j Task) rank() float64 {
	if j.GainPerHour == nil {
		return math.Copysign(math.MaxFloat64, j.Gain)
	}
	return *j.GainPerHour
}

// isBetter is by what an hour gains, of two that lose by what they lose.
func (j Task) isBetter(than Task) bool {
	if j.Gain <= 0 && than.Gain <= 0 {
		return j.Gain > than.Gain
	}
	return j.rank() > than.rank()
}

// together finds the tasks that share a color or a topcoat.
func together(tasks []Task) []Together {
	byProduct := make(map[string][]string)
	for _, j := range tasks {
		for _, p := range j.products {
			byProduct[p] = append(byProduct[p], j.Row.Ref)
		}
	}
	var out []Together
	for product, refs := range byProduct {
		if len(refs) > 1 {
			out = append(out, Together{product, refs})
		}
	}
	slices.SortFunc(out, func(x, y Together) int { return cmp.Compare(x.Product, y.Product) })
	return out
}

// taskSentence says what the task is and why.
func taskSentence(a *service.Actor, j *Task) string {
	c, voice := a.Group.Currency, prose.In(a.Group.Currency)
	takes := prose.Hours(j.Hours)
	if j.Materials > 0 {
		takes += fmt.Sprintf(", %s of materials", voice.Money(j.Materials.Major(c)))
	}
	var do string
	switch {
	case j.Action == WorkFinish && j.Row.Stage == service.StageOnBench:
		do = fmt.Sprintf("Finish it: %s, list at %s. %s left; what was spent so far does not count.",
			prose.Refinish(j.Finish, j.Color), voice.Money(j.Ask), takes)
	case j.Action == WorkFinish:
		do = fmt.Sprintf("%s, list at %s. %s.", service.UpperFirst(prose.Refinish(j.Finish, j.Color)), voice.Money(j.Ask), takes)
	case j.Action == WorkOffer:
		do = fmt.Sprintf("List as is at %s; photos and post.", voice.Money(j.Ask))
	case j.Action == pricing.ActionRefinish:
		do = voice.Move(j.remedy()) + ": " + takes + "."
	default:
		do = voice.Move(j.remedy()) + "."
	}
	than := "letting it go"
	if j.Row.IsOffered() {
		than = "leaving it"
	}
	paid := ""
	if a.Group.HourValue > 0 && j.Hours > 0 {
		paid = " after your hours"
	}
	return fmt.Sprintf("%s Nets about %s more than %s%s.", do, voice.Money(math.Max(0, j.Gain)), than, paid)
}

// remedy is the task as a review tells it.
func (j *Task) remedy() pricing.Remedy {
	return pricing.Remedy{Action: j.Action, Ask: j.Ask, Finish: j.Finish, Color: j.Color}
}

// weekSentences sums the plan up.
func weekSentences(a *service.Actor, w *WorkQueue, q WorkQuery) []pricing.Sentence {
	if len(w.Tasks) == 0 {
		return []pricing.Sentence{pricing.Say(pricing.SaidWork, "Nothing unlisted or listed pays for work within these hours and this money.")}
	}
	c, voice := a.Group.Currency, prose.In(a.Group.Currency)
	t := []pricing.Sentence{pricing.Say(pricing.SaidWork, "%s of %s hours, %s of %s: about %s more than doing nothing.",
		service.HoursText(w.Hours), service.HoursText(q.Hours), voice.Money(w.Materials.Major(c)), voice.Money(q.Money.Major(c)), voice.Money(w.Gain.Major(c)))}
	for _, g := range w.Together {
		t = append(t, pricing.Say(pricing.SaidBatch, "Do %s in one session: all %s.", strings.Join(g.Refs, ", "), service.InWords(g.Product)))
	}
	if len(w.Labels) > 0 {
		t = append(t, pricing.Say(pricing.SaidMissing, "Set your hourly rate: without it hours cost nothing here."))
	}
	return t
}
