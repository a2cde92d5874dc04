package advice

import (
	"context"

	"askwright/pricing"
	"askwright/pricing/refinish"
	"askwright/service"
	"askwright/service/prose"
)

// RefinishSubject is a piece, described or on file, with what is planned for it.
type RefinishSubject struct {
	Subject
	Plan
}

// RefinishEstimate is the answer for one subject.
type RefinishEstimate struct {
	Ref      string
	Category string
	pricing.RefinishAnswer
	Sentences   []pricing.Sentence
	PlannedLook *Refinish  // the engine's Planned, which is cleared, with its cautions
	Looks       []Refinish // the best of its Finishes, which are cleared
	Model       string
}

// Refinish is one look with the cautions of its work and of the piece.
type Refinish struct {
	pricing.Refinish
	Cautions []service.Caution
}

// DefaultFinishes is how many finishes are told of each subject.
const DefaultFinishes = 5

// MaxFinishes bounds them.
const MaxFinishes = 100

// RefinishEstimates says for each subject, in order, what the planned look and
// the looks with evidence take and bring, the best n by what an hour earns.
func (s *Service) RefinishEstimates(ctx context.Context, a *service.Actor, subjects []RefinishSubject, n int) ([]RefinishEstimate, error) {
	if len(subjects) == 0 || len(subjects) > service.MaxSubjects {
		return nil, service.Invalid("subjects", "expected 1 to %d of them, have %d", service.MaxSubjects, len(subjects))
	}
	if !service.Between(n, 1, MaxFinishes) {
		return nil, service.Invalid("finishes", "expected 1 to %d", MaxFinishes)
	}
	fit, err := s.fits.Current(ctx, a)
	if err != nil {
		return nil, err
	}
	workshop, err := s.Workshop(ctx, a)
	if err != nil {
		return nil, err
	}
	cells := make([]Subject, len(subjects))
	for i, sub := range subjects {
		cells[i] = sub.Subject
	}
	read, err := s.readSubjects(ctx, a, cells)
	if err != nil {
		return nil, err
	}
	jobs, err := jobsOf(a, read, subjects)
	if err != nil {
		return nil, err
	}
	answers := make([]RefinishEstimate, len(subjects))
	for i, sub := range read {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		q := pricing.RefinishQuery{Job: jobs[i], Estimate: sub.estimate.Major(a.Group.Currency), Standing: sub.standing}
		answer := fit.Model.Refinishes(q, a.Today, workshop.settings(a.Group.SettingsFor(sub.row.Venue, a.Today)))
		one := RefinishEstimate{Ref: sub.row.Ref, Category: sub.row.Category, RefinishAnswer: answer, Model: fit.Version()}
		one.Sentences = prose.In(a.Group.Currency).Finishes(&answer, a.Group.HourValue.Major(a.Group.Currency))
		if answer.Planned != nil {
			one.PlannedLook = &Refinish{*answer.Planned, service.Occasion{Piece: sub.row, Work: []*refinish.Work{&answer.Planned.Work}, Deeds: service.ToHandOver}.Cautions()}
		}
		for _, f := range answer.Finishes[:min(n, len(answer.Finishes))] {
			one.Looks = append(one.Looks, Refinish{f, service.Occasion{Piece: sub.row, Work: []*refinish.Work{&f.Work}, Deeds: service.ToHandOver}.Cautions()})
		}
		one.Planned, one.Finishes = nil, nil
		answers[i] = one
	}
	return answers, nil
}

// jobsOf reads the plans, or says what is wrong with each.
func jobsOf(a *service.Actor, read []subject, subjects []RefinishSubject) ([]refinish.Job, error) {
	var wrong []service.FieldError
	jobs := make([]refinish.Job, len(read))
	for i, sub := range read {
		var errs []service.FieldError
		jobs[i], errs = subjects[i].job(sub.row, a.Group)
		wrong = append(wrong, inSubject(i, errs)...)
	}
	if wrong != nil {
		return nil, &service.InvalidError{Fields: wrong}
	}
	return jobs, nil
}
