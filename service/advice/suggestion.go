package advice

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/pricing/refinish"
	"askwright/service"
	"askwright/service/model"
	"askwright/service/prose"
)

// Suggestion is the answer for one subject.
type Suggestion struct {
	Ref        string
	PresentAsk float64 // of an open listing; zero: none
	pricing.Suggestion
	Unused      []string // columns that are told and do not count
	Sentences   []pricing.Sentence
	Nearest     []Comparable // the engine's Comparables, which are cleared, with their rows
	Differences []Difference // of what is laid over the piece
	Model       string       // version of the model: design, change number, day fitted
	Warnings    []refinish.Warning
	Cautions    []service.Caution
	Errors      []service.FieldError // why the subject could not be read: there is nothing else then
}

// Comparable is a comparable with the row that it stands for.
type Comparable struct {
	pricing.Comparable
	Row *service.Listing
}

// Subject is what a suggestion is asked for: cells as in a row, category alone
// being needed; or the id or ref of a listing on file, with cells laid over it.
type Subject = service.Cells

// subject is a piece to be priced.
type subject struct {
	row      *service.Listing
	estimate service.Money
	standing *pricing.Standing
	onFile   *model.Recorded  // nil: only described
	before   *service.Listing // what changes are laid over; nil: none are
	changed  []cellChange     // those that change it
}

// presentAsk is what is asked now; zero while nothing is.
func (s *subject) presentAsk(c service.Currency) float64 {
	if s.onFile == nil || s.onFile.Outcome != service.OutcomeOpen {
		return 0
	}
	return s.onFile.CurrentAsk().Major(c)
}

func (s *subject) query(c service.Currency, withinDays int) pricing.Query {
	return pricing.Query{Attributes: s.row.Attributes(), Estimate: s.estimate.Major(c), WithinDays: withinDays, Standing: s.standing}
}

// Suggest answers for each subject in order. One that cannot be read has Errors
// that name its place; where none can, they are an *InvalidError.
func (s *Service) Suggest(ctx context.Context, a *service.Actor, subjects []Subject, withinDays int) ([]Suggestion, error) {
	return s.SuggestIf(ctx, a, subjects, nil, withinDays)
}

// SuggestIf answers for each subject with some cells laid over it, and tells
// what each of them does to the price. An estimate stays that of the subject.
func (s *Service) SuggestIf(ctx context.Context, a *service.Actor, subjects []Subject, changes service.Cells, withinDays int) ([]Suggestion, error) {
	if len(subjects) == 0 || len(subjects) > service.MaxSubjects {
		return nil, service.Invalid("subjects", "expected 1 to %d of them, have %d", service.MaxSubjects, len(subjects))
	}
	fit, err := s.fits.Current(ctx, a)
	if err != nil {
		return nil, err
	}
	read, faults, err := s.readEach(ctx, a, subjects)
	if err != nil {
		return nil, err
	}
	if wrong := misread(a, changes); wrong != nil {
		return nil, &service.InvalidError{Fields: append(slices.Concat(faults...), wrong...)}
	}
	var good []subject
	for i := range read {
		if len(changes) > 0 && faults[i] == nil {
			read[i], faults[i] = andIf(a, read[i], changes)
		}
		if faults[i] == nil {
			good = append(good, read[i])
		}
	}
	if len(good) == 0 {
		return nil, &service.InvalidError{Fields: slices.Concat(faults...)}
	}
	answers, err := s.suggest(ctx, a, fit, good, withinDays)
	if err != nil {
		return nil, err
	}
	for i, wrong := range faults {
		if wrong != nil {
			answers = slices.Insert(answers, i, Suggestion{Ref: strings.TrimSpace(subjects[i]["ref"]), Errors: wrong})
		}
	}
	return answers, nil
}

// SuggestFor answers for a listing on file.
func (s *Service) SuggestFor(ctx context.Context, a *service.Actor, listing uuid.UUID, withinDays int) (*Suggestion, error) {
	fit, err := s.fits.Current(ctx, a)
	if err != nil {
		return nil, err
	}
	rows, row, err := s.fits.RecordOf(ctx, a, listing)
	if err != nil {
		return nil, err
	}
	answers, err := s.suggest(ctx, a, fit, []subject{asItStands(a, rows, row)}, withinDays)
	if err != nil {
		return nil, err
	}
	return &answers[0], nil
}

// OpenSuggestion is the answer for an open listing.
type OpenSuggestion struct {
	Row *service.Listing
	Suggestion
}

// SuggestOpen answers for the group's own open listings, or those of one
// member, in the order of their refs.
func (s *Service) SuggestOpen(ctx context.Context, a *service.Actor, member uuid.UUID, withinDays int) ([]OpenSuggestion, error) {
	fit, err := s.fits.Current(ctx, a)
	if err != nil {
		return nil, err
	}
	open, err := s.fits.Records(ctx, a, model.Selection{Open: true})
	if err != nil {
		return nil, err
	}
	var rows []*model.Recorded
	for _, r := range open.All {
		if r.OpenOn(a.Today) && (member == uuid.Nil || r.MemberID == member) {
			rows = append(rows, r)
		}
	}
	slices.SortFunc(rows, func(x, y *model.Recorded) int {
		return cmp.Or(strings.Compare(x.Ref, y.Ref), strings.Compare(x.ID.String(), y.ID.String()))
	})
	out := make([]OpenSuggestion, 0, len(rows))
	for batch := range slices.Chunk(rows, service.MaxSubjects) {
		subjects := make([]subject, len(batch))
		for i, r := range batch {
			subjects[i] = asItStands(a, open, r)
		}
		found, err := s.suggest(ctx, a, fit, subjects, withinDays)
		if err != nil {
			return nil, err
		}
		for i, f := range found {
			out = append(out, OpenSuggestion{Row: batch[i].Listing, Suggestion: f})
		}
	}
	return out, nil
}

func (s *Service) suggest(ctx context.Context, a *service.Actor, fit *model.Fit, subjects []subject, withinDays int) ([]Suggestion, error) {
	if !service.Between(withinDays, 1, 730) {
		return nil, service.Invalid("within_days", "expected 1 to 730")
	}
	rows := make([]*service.Listing, len(subjects))
	for i, sub := range subjects {
		rows[i] = sub.row
	}
	nearest, err := s.nearest(ctx, a, fit, rows, nearestOf{pricing.ComparableRows, true}) // a price rests on sales
	if err != nil {
		return nil, err
	}
	answers := make([]Suggestion, len(subjects))
	for i, sub := range subjects {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		settings := a.Group.SettingsFor(sub.row.Venue, a.Today)
		answer := fit.Model.Suggest(sub.query(a.Group.Currency, withinDays), a.Today, settings, nearest[i].facts(a.Group.Currency))
		unused := unusedOf(sub.row, answer.Unseen)
		sentences := prose.In(a.Group.Currency).Suggestion(&answer, unused)
		if sub.estimate == 0 && sub.isPromise(a) {
			sentences = append([]pricing.Sentence{{Kind: pricing.SaidOwnPrice, Text: askForEstimate}}, sentences...)
		}
		comparables := nearest[i].rows(answer.Comparables)
		answer.Comparables = nil
		answers[i] = Suggestion{
			Ref: sub.row.Ref, PresentAsk: sub.presentAsk(a.Group.Currency), Suggestion: answer, Unused: unused, Sentences: sentences, Nearest: comparables,
			Differences: differencesOf(a, fit, sub, settings), Model: fit.Version(),
			Warnings: refinish.OddSizes(sub.row.Attributes()), Cautions: service.Occasion{Piece: sub.row, Deeds: service.ToOffer}.Cautions(),
		}
	}
	s.promise(a, fit, subjects, answers)
	s.suggested.count(answers)
	return answers, nil
}

// uncounted are the columns that describe a piece and are no term of the model.
var uncounted = []string{
	"style", "year_made", "second_finish", "second_color", "topcoat", "sheen", "drawers", "doors", "maker", "flaws", "smell",
}

// unusedOf names what is told of a piece and does not count in its price: what
// the model has no term for, and levels that were never sold.
func unusedOf(row *service.Listing, unseen []string) []string {
	out := slices.Clone(unseen)
	for _, name := range uncounted {
		if column, ok := service.ColumnByName(name); ok && column.Value(row, service.Currency{}) != "" {
			out = append(out, name)
		}
	}
	return out
}

// readSubjects reads all subjects, or says what is wrong with each.
func (s *Service) readSubjects(ctx context.Context, a *service.Actor, subjects []Subject) ([]subject, error) {
	read, faults, err := s.readEach(ctx, a, subjects)
	if wrong := slices.Concat(faults...); err == nil && wrong != nil {
		return nil, &service.InvalidError{Fields: wrong}
	}
	return read, err
}

// readEach looks up the listings that subjects name and reads each subject, or says
// what is wrong with it.
func (s *Service) readEach(ctx context.Context, a *service.Actor, subjects []Subject) ([]subject, [][]service.FieldError, error) {
	var which model.Selection
	for _, cells := range subjects {
		id, ref, isNamed := named(cells)
		if parsed, err := uuid.Parse(id); err == nil {
			which.IDs = append(which.IDs, parsed)
		} else if id == "" && isNamed {
			which.Refs = append(which.Refs, ref)
		}
	}
	rows, err := s.fits.Records(ctx, a, which)
	if err != nil {
		return nil, nil, err
	}
	out, faults := make([]subject, len(subjects)), make([][]service.FieldError, len(subjects))
	for i, cells := range subjects {
		sub, wrong := readSubject(a, rows, cells)
		out[i], faults[i] = sub, inSubject(i, wrong)
	}
	return out, faults, nil
}

// inSubject places what is wrong in its subject.
func inSubject(i int, wrong []service.FieldError) []service.FieldError {
	for j := range wrong {
		wrong[j].Pointer, wrong[j].Row = "/subjects/"+strconv.Itoa(i)+"/"+wrong[j].Column, i+1
	}
	return wrong
}

// readSubject reads a described piece, or one on file with cells laid over it.
func readSubject(a *service.Actor, rows *model.Records, cells Subject) (subject, []service.FieldError) {
	onFile, err := findOnFile(a, rows, cells)
	if err != nil {
		return subject{}, err
	}
	sub := subject{row: &service.Listing{Source: service.SourceOwn, Unit: a.Group.Unit}}
	if onFile != nil {
		sub = asItStands(a, rows, onFile)
	}
	d := &service.Draft{Reader: a.Reader(), Listing: *sub.row}
	if wrong := d.Read(cells); len(wrong) > 0 {
		return subject{}, wrong
	}
	if d.Category == "" {
		return subject{}, []service.FieldError{{Ref: d.Ref, Column: "category", Reason: "is missing: say what the piece is, or give the ref or id of a listing on file"}}
	}
	sub.row = &d.Listing
	if _, sent := cells["own_price"]; sent || onFile == nil {
		sub.estimate = d.Estimate
	}
	if onFile != nil {
		sub.overlay(onFile.Listing, cells, a.Group.Currency)
	}
	return sub, nil
}

// asItStands is the subject of a listing on file.
func asItStands(a *service.Actor, rows *model.Records, onFile *model.Recorded) subject {
	isMine := onFile.MemberID == a.MemberID && a.Scope != service.ScopeFeed // a feed is read by anybody
	sub := subject{row: onFile.Clone(), onFile: onFile}
	if onFile.EstimateCounts && isMine {
		sub.estimate = onFile.Estimate
	}
	if onFile.Outcome == service.OutcomeOpen && !onFile.IsObserved() {
		st := rows.Standing(onFile, a.Group.Currency, a.Today)
		if !isMine {
			st.Listing.Estimate = 0 // the owner's alone
		}
		sub.standing = &st
	}
	return sub
}

// named says which listing a subject names: by id, or by one's own ref when no
// category describes another piece.
func named(cells Subject) (id, ref string, isNamed bool) {
	id, ref = strings.TrimSpace(cells["id"]), strings.TrimSpace(cells["ref"])
	return id, ref, id != "" || (ref != "" && strings.TrimSpace(cells["category"]) == "")
}

// findOnFile finds the listing that a subject names; nil where it names none.
func findOnFile(a *service.Actor, rows *model.Records, cells Subject) (*model.Recorded, []service.FieldError) {
	id, ref, isNamed := named(cells)
	switch {
	case !isNamed:
		return nil, nil
	case id != "":
		parsed, err := uuid.Parse(id)
		if found := rows.ByID[parsed]; err == nil && found != nil {
			return found, nil
		}
		return nil, []service.FieldError{{Ref: ref, Column: "id", Reason: "there is no listing with the id " + service.Clip(id)}}
	}
	if found := rows.ByRef[model.MemberRef{Member: a.MemberID, Ref: ref}]; found != nil {
		return found, nil
	}
	return nil, []service.FieldError{{Ref: ref, Column: "ref", Reason: fmt.Sprintf("you have no listing with the ref %q on file; describe the piece by its category", service.Clip(ref))}}
}
