package service

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"askwright/pricing"
)

// MaxSubjects bounds a batch.
const MaxSubjects = 500

// Suggestion is the answer for one subject.
type Suggestion struct {
	Ref        string
	PresentAsk float64 // of an open listing; zero: none
	pricing.Suggestion
	Comparables []Comparable // in place of the engine's own
	Differences []Difference // of what is laid over the piece
	Model       string       // version of the model: design, change number, day fitted
	Warnings    []pricing.Warning
	Cautions    []Caution
}

// Comparable is a comparable with the row that it stands for.
type Comparable struct {
	pricing.Comparable
	Row *Listing
}

// Subject is what a suggestion is asked for: cells as in a row, category alone
// being needed; or the id or ref of a listing on file, with cells laid over it.
type Subject = Cells

// subject is a piece to be priced.
type subject struct {
	row      *Listing
	estimate Money
	standing *pricing.Standing
	onFile   *Recorded    // nil: only described
	before   *Listing     // what changes are laid over; nil: none are
	changed  []cellChange // those that change it
}

// presentAsk is what is asked now; zero while nothing is.
func (s *subject) presentAsk(c Currency) float64 {
	if s.onFile == nil || s.onFile.Outcome != OutcomeOpen {
		return 0
	}
	return s.onFile.CurrentAsk().Major(c)
}

func (s *subject) query(c Currency, withinDays int) pricing.Query {
	return pricing.Query{Attributes: s.row.Attributes(), Estimate: s.estimate.Major(c), WithinDays: withinDays, Standing: s.standing}
}

// Suggest answers for each subject in order. A subject that cannot be read is
// an *InvalidError that names its place.
func (s *Service) Suggest(ctx context.Context, a *Actor, subjects []Subject, withinDays int) ([]Suggestion, error) {
	return s.SuggestIf(ctx, a, subjects, nil, withinDays)
}

// SuggestIf answers for each subject with some cells laid over it, and tells
// what each of them does to the price. An estimate stays that of the subject.
func (s *Service) SuggestIf(ctx context.Context, a *Actor, subjects []Subject, changes Cells, withinDays int) ([]Suggestion, error) {
	if len(subjects) == 0 || len(subjects) > MaxSubjects {
		return nil, Invalid("subjects", "expected 1 to %d of them, have %d", MaxSubjects, len(subjects))
	}
	if !between(withinDays, 1, 730) {
		return nil, Invalid("within_days", "expected 1 to 730")
	}
	group, err := s.keeper.current(ctx, a)
	if err != nil {
		return nil, err
	}
	read, err := s.readSubjects(ctx, a, subjects)
	if wrong := a.misread(changes); wrong != nil {
		var others *InvalidError
		if errors.As(err, &others) {
			wrong = append(others.Fields, wrong...)
		}
		return nil, &InvalidError{Fields: wrong}
	}
	if err != nil {
		return nil, err
	}
	if len(changes) > 0 {
		for i := range read {
			if read[i], err = a.andIf(read[i], changes); err != nil {
				return nil, err
			}
		}
	}
	return s.suggest(ctx, a, group, read, withinDays)
}

// SuggestFor answers for a listing on file.
func (s *Service) SuggestFor(ctx context.Context, a *Actor, listing uuid.UUID, withinDays int) (*Suggestion, error) {
	if _, err := s.Listing(ctx, a, listing); err != nil {
		return nil, err
	}
	answers, err := s.Suggest(ctx, a, []Subject{{"id": listing.String()}}, withinDays)
	if err != nil {
		return nil, err
	}
	return &answers[0], nil
}

// OpenSuggestion is the answer for an open listing.
type OpenSuggestion struct {
	Row *Listing
	Suggestion
}

// SuggestOpen answers for the group's own open listings, or those of one
// member, in the order of their refs.
func (s *Service) SuggestOpen(ctx context.Context, a *Actor, member uuid.UUID, withinDays int) ([]OpenSuggestion, error) {
	open, err := s.records(ctx, a, Which{Open: true})
	if err != nil {
		return nil, err
	}
	var rows []*Listing
	for _, r := range open.all {
		if r.openOn(a.Today) && (member == uuid.Nil || r.MemberID == member) {
			rows = append(rows, r.Listing)
		}
	}
	slices.SortFunc(rows, func(x, y *Listing) int {
		return cmp.Or(strings.Compare(x.Ref, y.Ref), strings.Compare(x.ID.String(), y.ID.String()))
	})
	out := make([]OpenSuggestion, 0, len(rows))
	for batch := range slices.Chunk(rows, MaxSubjects) {
		subjects := make([]Subject, len(batch))
		for i, l := range batch {
			subjects[i] = Subject{"id": l.ID.String()}
		}
		found, err := s.Suggest(ctx, a, subjects, withinDays)
		if err != nil {
			return nil, err
		}
		for i, f := range found {
			out = append(out, OpenSuggestion{Row: batch[i], Suggestion: f})
		}
	}
	return out, nil
}

func (s *Service) suggest(ctx context.Context, a *Actor, group *known, subjects []subject, withinDays int) ([]Suggestion, error) {
	rows := make([]*Listing, len(subjects))
	for i, sub := range subjects {
		rows[i] = sub.row
	}
	candidates, err := s.nearest(ctx, a, rows)
	if err != nil {
		return nil, err
	}
	answers := make([]Suggestion, len(subjects))
	for i, sub := range subjects {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		settings := a.Group.SettingsFor(sub.row.Venue, a.Today)
		answer := group.model.Suggest(sub.query(a.Group.Currency, withinDays), a.Today, settings, candidates[i].facts(a.Group.Currency))
		if sub.estimate == 0 && sub.isPromise(a) {
			answer.Sentences = append([]string{askForEstimate}, answer.Sentences...)
		}
		answers[i] = Suggestion{
			Ref: sub.row.Ref, PresentAsk: sub.presentAsk(a.Group.Currency), Suggestion: answer, Comparables: candidates[i].rows(answer.Comparables),
			Differences: a.differences(group, sub, settings), Model: group.version(),
			Warnings: pricing.OddSizes(sub.row.Attributes()), Cautions: occasion{piece: sub.row, deeds: toOffer}.cautions(),
		}
	}
	s.keep(a, group, subjects, answers)
	s.metrics.suggested(answers)
	return answers, nil
}

// Comparables returns the n nearest listings to a described piece, or to one
// on file, adjusted to it.
func (s *Service) Comparables(ctx context.Context, a *Actor, sub Subject, n int) ([]Comparable, error) {
	group, err := s.keeper.current(ctx, a)
	if err != nil {
		return nil, err
	}
	read, err := s.readSubjects(ctx, a, []Subject{sub})
	if err != nil {
		return nil, err
	}
	candidates, err := s.nearest(ctx, a, []*Listing{read[0].row})
	if err != nil {
		return nil, err
	}
	found := group.model.Comparables(read[0].row.Attributes(), a.Today, candidates[0].facts(a.Group.Currency), n)
	return candidates[0].rows(found), nil
}

// near are the rows that comparables of one subject are taken from.
type near []*Listing

// nearest looks up comparables; a piece is never its own.
func (s *Service) nearest(ctx context.Context, a *Actor, subjects []*Listing) ([]near, error) {
	search := make([]Near, len(subjects))
	for i, l := range subjects {
		d := l.Attributes()
		search[i] = Near{Category: l.Category, Volume: d.Width * d.Depth * d.Height, FewEnough: fewComparable}
	}
	found, err := s.store.Nearest(ctx, a.Tenant(), search)
	if err != nil {
		return nil, fmt.Errorf("look for comparables: %w", err)
	}
	out := make([]near, 0, len(subjects))
	for i, subject := range subjects {
		var others near
		for _, row := range found[i] {
			if subject.PieceID == uuid.Nil || row.PieceID != subject.PieceID {
				others = append(others, row)
			}
		}
		out = append(out, others)
	}
	return out, nil
}

func (n near) facts(c Currency) []pricing.Listing {
	facts := make([]pricing.Listing, len(n))
	for i, l := range n {
		facts[i] = l.Facts(c, nil, nil)
	}
	return facts
}

// rows puts the rows beside the engine's comparables.
func (n near) rows(found []pricing.Comparable) []Comparable {
	byID := make(map[string]*Listing, len(n))
	for _, l := range n {
		byID[l.ID.String()] = l
	}
	out := make([]Comparable, 0, len(found))
	for _, c := range found {
		out = append(out, Comparable{Comparable: c, Row: byID[c.ID]})
	}
	return out
}

// readSubjects looks up the listings that subjects name and reads all
// subjects, or says what is wrong with each.
func (s *Service) readSubjects(ctx context.Context, a *Actor, subjects []Subject) ([]subject, error) {
	var which Which
	for _, cells := range subjects {
		id, ref, isNamed := named(cells)
		if parsed, err := uuid.Parse(id); err == nil {
			which.IDs = append(which.IDs, parsed)
		} else if id == "" && isNamed {
			which.Refs = append(which.Refs, ref)
		}
	}
	rows, err := s.records(ctx, a, which)
	if err != nil {
		return nil, err
	}
	var wrong []FieldError
	out := make([]subject, len(subjects))
	for i, cells := range subjects {
		sub, errs := a.readSubject(rows, cells)
		wrong = append(wrong, inSubject(i, errs)...)
		out[i] = sub
	}
	if wrong != nil {
		return nil, &InvalidError{Fields: wrong}
	}
	return out, nil
}

// inSubject places what is wrong in its subject.
func inSubject(i int, wrong []FieldError) []FieldError {
	for j := range wrong {
		wrong[j].Pointer, wrong[j].Row = "/subjects/"+strconv.Itoa(i)+"/"+wrong[j].Column, i+1
	}
	return wrong
}

// readSubject reads a described piece, or one on file with cells laid over it.
func (a *Actor) readSubject(rows *records, cells Subject) (subject, []FieldError) {
	onFile, err := a.onFile(rows, cells)
	if err != nil {
		return subject{}, err
	}
	d := &draft{reader: a.Reader(), Listing: Listing{Source: SourceOwn, Unit: a.Group.Unit}}
	if onFile != nil {
		d.Listing = *onFile.clone()
	}
	if wrong := d.read(cells); len(wrong) > 0 {
		return subject{}, wrong
	}
	if d.Category == "" {
		return subject{}, []FieldError{{Ref: d.Ref, Column: "category", Reason: "is missing: say what the piece is, or give the ref or id of a listing on file"}}
	}
	sub := subject{row: &d.Listing, estimate: d.Estimate}
	if onFile == nil {
		return sub, nil
	}
	isMine := onFile.MemberID == a.MemberID && a.Scope != ScopeFeed // a feed is read by anybody
	sub.onFile = onFile
	sub.overlay(onFile.Listing, cells, a.Group.Currency)
	if _, sent := cells["estimate"]; !sent && (!onFile.EstimateCounts || !isMine) {
		sub.estimate = 0
	}
	if onFile.Outcome == OutcomeOpen && !onFile.IsObserved() {
		st := rows.standing(onFile, a.Group.Currency, a.Today)
		if !isMine {
			st.Listing.Estimate = 0 // the owner's alone
		}
		sub.standing = &st
	}
	return sub, nil
}

// named says which listing a subject names: by id, or by one's own ref when no
// category describes another piece.
func named(cells Subject) (id, ref string, isNamed bool) {
	id, ref = strings.TrimSpace(cells["id"]), strings.TrimSpace(cells["ref"])
	return id, ref, id != "" || (ref != "" && strings.TrimSpace(cells["category"]) == "")
}

// onFile finds the listing that a subject names; nil where it names none.
func (a *Actor) onFile(rows *records, cells Subject) (*Recorded, []FieldError) {
	id, ref, isNamed := named(cells)
	switch {
	case !isNamed:
		return nil, nil
	case id != "":
		parsed, err := uuid.Parse(id)
		if found := rows.byID[parsed]; err == nil && found != nil {
			return found, nil
		}
		return nil, []FieldError{{Ref: ref, Column: "id", Reason: "there is no listing with the id " + clip(id)}}
	}
	if found := rows.byRef[memberRef{a.MemberID, ref}]; found != nil {
		return found, nil
	}
	return nil, []FieldError{{Ref: ref, Column: "ref", Reason: fmt.Sprintf("you have no listing with the ref %q on file; describe the piece by its category", clip(ref))}}
}
