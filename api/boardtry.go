package api

import (
	"context"
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/service"
)

// The page to try what a piece would bring, as it is described or if it were
// different.
var (
	tryFields = []string{"category", "width", "depth", "height", "material", "wood", "condition", "finish", "color", "estimate"}
	tryMore   = []string{"set_size", "style", "year_made", "hardware", "topcoat", "second_finish", "second_color", "drawers", "doors"}
	tryIf     = []string{"finish", "color", "condition", "hardware"}
)

const ifPrefix = "if_"

// tryPage is a piece, and the same piece otherwise.
type tryPage struct {
	Listing  *service.Listing // on file; nil: it is described
	Facts    []fact           // of it
	Fields   []formField
	More     []formField
	If       []formField
	Wrong    []string // what belongs to no field
	Unit     string
	Currency string

	WithinDays int // of the chance of a sale

	First       *Suggestion // nil: nothing was asked yet
	Second      *Suggestion // nil: no change was asked for
	Differences []Difference
	Curve       template.HTML
	IfWords     string // the change, in words
}

// MoreFilled reports whether one of the fields that are folded away has a value.
func (p *tryPage) MoreFilled() bool { return anyFilled(p.More) }

// Shown is the answer that is told in full.
func (p *tryPage) Shown() *Suggestion {
	if p.Second != nil {
		return p.Second
	}
	return p.First // nil: nothing was asked yet
}

// Answers are those side by side.
func (p *tryPage) Answers() []*Suggestion {
	if p.Second == nil {
		return []*Suggestion{p.First}
	}
	return []*Suggestion{p.First, p.Second}
}

// getBoardTry answers what a piece would bring; nothing is recorded.
//
//	@Summary	The board: what a piece would bring
//	@Tags		board
//	@Param		listing	query	string	false	"id of a listing; else the piece is described by category, width and so on, named as in the row"
//	@Param		if_finish	query	string	false	"and if it had this finish; likewise if_color, if_condition, if_hardware"
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Failure	404	"no such listing"
//	@Failure	422	"a value is wrong; the form again"
//	@Router		/board/try [get]
func (s *Server) getBoardTry(c *gin.Context, a *service.Actor) error {
	p := paramsOf(c)
	sent := url.Values{}
	for _, name := range slices.Concat(tryFields, tryMore, prefixed(ifPrefix, tryIf)) {
		sent.Set(name, p.text(name))
	}
	listing := p.text("listing")
	if err := p.done(); err != nil {
		return err
	}
	page := &tryPage{
		Fields: formFields(tryFields, "", sent), More: formFields(tryMore, "", sent), If: formFields(tryIf, ifPrefix, sent),
		Unit: lengthsIn(a.Group.Unit), Currency: a.Group.Currency.Code, WithinDays: withinDefault,
	}
	page.Fields[0].Required = true
	for i := range page.If {
		page.If[i].Label = upperFirst(strings.ReplaceAll(tryIf[i], "_", " "))
	}
	subject := filled(slices.Concat(tryFields, tryMore), "", sent)
	if listing != "" {
		if err := s.tryOnFile(c.Request.Context(), a, page, listing); err != nil {
			return err
		}
		subject = service.Cells{"id": page.Listing.ID.String()}
	}
	status := http.StatusOK
	if len(subject) > 0 {
		var wrong *service.InvalidError
		if err := s.try(c.Request.Context(), a, page, subject, filled(tryIf, ifPrefix, sent)); errors.As(err, &wrong) {
			status = http.StatusUnprocessableEntity
			page.blame(wrong)
		} else if err != nil {
			return err
		}
	}
	return s.render(c, status, "try", boardFrame{Title: "What if", At: "try", Viewer: a, Page: page})
}

func prefixed(prefix string, names []string) []string {
	out := make([]string, len(names))
	for i, name := range names {
		out[i] = prefix + name
	}
	return out
}

func (s *Server) tryOnFile(ctx context.Context, a *service.Actor, page *tryPage, text string) (err error) {
	id, err := uuid.Parse(text)
	if err != nil {
		return badParameter("listing", "%q is no id", clip(text, 40))
	}
	if page.Listing, err = s.service.Listing(ctx, a, id); err != nil {
		return err
	}
	for _, f := range viewerOf(a).facts(page.Listing) {
		if slices.Contains(tryFields, strings.ReplaceAll(f.Name, " ", "_")) || slices.Contains(tryMore, strings.ReplaceAll(f.Name, " ", "_")) {
			page.Facts = append(page.Facts, f)
		}
	}
	return nil
}

// try asks for the piece and, with changes, for the changed one.
func (s *Server) try(ctx context.Context, a *service.Actor, page *tryPage, subject, changes service.Cells) error {
	subjects := []service.Subject{subject}
	if len(changes) > 0 {
		changed := service.Cells{}
		var words []string
		for name, value := range subject {
			changed[name] = value
		}
		for _, name := range tryIf {
			if value, told := changes[name]; told {
				changed[name] = value
				words = append(words, strings.ReplaceAll(value, "_", " "))
			}
		}
		subjects, page.IfWords = append(subjects, changed), strings.Join(words, ", ")
	}
	found, err := s.service.Suggest(ctx, a, subjects, withinDefault)
	if err != nil {
		return err
	}
	v := viewerOf(a)
	first := v.suggestion(found[0], withinDefault)
	page.First = &first
	if len(found) > 1 {
		second := v.suggestion(found[1], withinDefault)
		page.Second, page.Differences = &second, second.Differences
	}
	page.Curve = curveChart(*page.Shown(), nil).HTML()
	return nil
}

// blame puts what is wrong beside its field: of the second subject beside those
// of the change, which alone are not told by the first.
func (p *tryPage) blame(wrong *service.InvalidError) {
	for _, w := range wrong.Fields {
		prefix := ""
		if w.Row > 1 {
			if f := fieldNamed(ifPrefix+w.Column, p.If); f == nil || f.Value == "" {
				continue
			}
			prefix = ifPrefix
		}
		p.Wrong = append(p.Wrong, blame([]service.FieldError{w}, func(column string) *formField {
			return fieldNamed(prefix+column, p.Fields, p.More, p.If)
		})...)
	}
}
