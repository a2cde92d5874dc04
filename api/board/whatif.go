package board

import (
	"cmp"
	"context"
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
	"askwright/service/advice"
)

// The page to try what a piece would bring, as it is described or if it were
// different.
var (
	tryFields = []string{"category", "width", "depth", "height", "material", "wood", "condition", "finish", "color", "own_price"}
	tryMore   = []string{"set_size", "style", "year_made", "hardware", "topcoat", "second_finish", "second_color", "drawers", "doors"}
	tryIf     = []string{"finish", "color", "condition", "hardware"}

	describing = slices.Concat(tryFields, tryMore)
)

const ifPrefix = "if_"

// whatIfPage is a piece, and the same piece otherwise.
type whatIfPage struct {
	Listing  *service.Listing // on file, whose values the form holds at first; nil: none
	Fields   []formField
	More     []formField
	If       []formField
	Wrong    []string // what belongs to no field
	Unit     string   // of lengths
	Currency string

	WithinDays int // of the chance of a sale

	First       *wire.Suggestion // nil: nothing was asked yet
	Second      *wire.Suggestion // nil: no change was asked for
	Differences []wire.Difference
	Curve       template.HTML
	IfWords     string // the change, in words
}

// MoreFilled reports whether a value among the fields that are folded away was
// typed, or is wrong.
func (p *whatIfPage) MoreFilled() bool {
	isWrong := slices.ContainsFunc(p.More, func(f formField) bool { return f.Wrong != "" })
	return isWrong || (p.Listing == nil && anyFilled(p.More))
}

// Shown is the answer that is told in full.
func (p *whatIfPage) Shown() *wire.Suggestion {
	if p.Second != nil {
		return p.Second
	}
	return p.First // nil: nothing was asked yet
}

// Answers are those side by side.
func (p *whatIfPage) Answers() []*wire.Suggestion {
	if p.Second == nil {
		return []*wire.Suggestion{p.First}
	}
	return []*wire.Suggestion{p.First, p.Second}
}

// GetBoardWhatIf answers what a piece would bring; nothing is recorded.
//
//	@Summary	The board: what a piece would bring
//	@Tags		board
//	@Param		listing		query	string	false	"id of a listing: its values stand where none is sent"
//	@Param		category	query	string	false	"and width and so on, named as in the row"
//	@Param		if_finish	query	string	false	"and if it had this finish; likewise if_color, if_condition, if_hardware"
//	@Param		within_days	query	int		false	"of the chance of a sale, 1 to 730"	default(30)
//	@Produce	html
//	@Success	200
//	@Success	303	"not signed in"
//	@Failure	404	"no such listing"
//	@Failure	422	"a value is wrong; the form again"
//	@Router		/board/what-if [get]
func (s *Board) GetBoardWhatIf(c *gin.Context, a *service.Actor) error {
	p := web.ParamsOf(c)
	sent := url.Values{}
	for _, name := range slices.Concat(describing, prefixed(ifPrefix, tryIf)) {
		sent.Set(name, p.Text(name))
	}
	listing, unit := p.Text("listing"), p.OneOf("unit", service.UnitInch, service.UnitCentimetre)
	var in wire.WithinQuery
	web.BindQuery(p, &in)
	page := &whatIfPage{Unit: cmp.Or(unit, a.Group.Unit), Currency: a.Group.Currency.Code, WithinDays: in.WithinDays}
	if err := p.Done(); err != nil {
		return err
	}
	ctx := c.Request.Context()
	subject := filled(describing, "", sent)
	if listing != "" {
		var err error
		if page.Listing, err = s.listingNamed(ctx, a, listing); err != nil {
			return err
		}
		page.Unit = cmp.Or(unit, page.Listing.Unit)
		subject = overlaid(wire.ViewerOf(a), page.Listing, page.Unit, sent, p.Values.Has("category"))
	} else if len(subject) > 0 {
		subject["unit"] = page.Unit
	}
	page.Fields, page.More, page.If = formFields(tryFields, "", sent), formFields(tryMore, "", sent), formFields(tryIf, ifPrefix, sent)
	page.Fields[0].Required = true
	for i := range page.If {
		page.If[i].Label = service.UpperFirst(strings.ReplaceAll(tryIf[i], "_", " "))
	}
	status := http.StatusOK
	if len(subject) > 0 {
		var wrong *service.InvalidError
		if err := s.try(ctx, a, page, subject, changesOf(sent)); errors.As(err, &wrong) {
			status = http.StatusUnprocessableEntity
			page.blame(wrong)
		} else if err != nil {
			return err
		}
	}
	return s.render(c, status, "whatif", boardFrame{Title: "What if", At: "whatif", Viewer: a, Page: page})
}

// changesOf are what is changed of the piece. Another finish keeps nothing of
// the old one's look, as with a planned one, unless that is told.
func changesOf(sent url.Values) service.Cells {
	changes := filled(tryIf, ifPrefix, sent)
	if finish := changes["finish"]; finish == "" || finish == "cleaned" || finish == sent.Get("finish") {
		return changes
	}
	for _, name := range []string{"color", "second_finish", "second_color", "topcoat"} {
		if _, told := changes[name]; !told {
			changes[name] = ""
		}
	}
	return changes
}

func prefixed(prefix string, names []string) []string {
	out := make([]string, len(names))
	for i, name := range names {
		out[i] = prefix + name
	}
	return out
}

func (s *Board) listingNamed(ctx context.Context, a *service.Actor, text string) (*service.Listing, error) {
	id, err := web.ParseID(text)
	if err != nil {
		return nil, web.BadParameter("listing", "%q is no id", web.Clip(text, 40))
	}
	return s.app.Recording.Listing(ctx, a, id)
}

// overlaid is what to ask about a listing on file: what was sent laid over it, a
// blank being unknown. Where nothing was sent its values are put into the form.
func overlaid(v wire.Viewer, row *service.Listing, unit string, sent url.Values, isSent bool) advice.Subject {
	subject := advice.Subject{"id": row.ID.String()}
	for _, name := range describing {
		column, _ := service.ColumnByName(name)
		value := v.Value(column, row)
		if column.Kind == service.KindMoney {
			value = wire.Trimmed(0, value)
		}
		switch {
		case !isSent:
			sent.Set(name, value)
		case name != "own_price" || (sent.Get(name) != "" && sent.Get(name) != value):
			subject[name] = sent.Get(name) // an estimate on file may not count, and would if it were told again
		}
	}
	if isSent {
		subject["unit"] = unit
	}
	return subject
}

// try asks for the piece and, with changes, for the changed one.
func (s *Board) try(ctx context.Context, a *service.Actor, page *whatIfPage, subject advice.Subject, changes service.Cells) error {
	ask := func(changes service.Cells) (*wire.Suggestion, error) {
		found, err := s.app.Advice.SuggestIf(ctx, a, []advice.Subject{subject}, changes, page.WithinDays)
		if err != nil {
			return nil, err
		}
		return new(wire.ViewerOf(a).Suggestion(found[0], page.WithinDays)), nil
	}
	var err error
	if len(changes) > 0 {
		if page.Second, err = ask(changes); err != nil {
			return err
		}
		var words []string
		for _, name := range tryIf {
			if value := changes[name]; value != "" {
				words = append(words, strings.ReplaceAll(value, "_", " "))
			}
		}
		page.IfWords, page.Differences = strings.Join(words, ", "), page.Second.Differences
	}
	if page.First, err = ask(nil); err != nil {
		return err
	}
	page.Curve = curveChart(*page.Shown(), nil).HTML()
	return nil
}

// blame puts what is wrong beside its field, of the change beside those of the
// change.
func (p *whatIfPage) blame(wrong *service.InvalidError) {
	for _, w := range wrong.Fields {
		prefix := ""
		if strings.HasPrefix(w.Pointer, "/and_if/") {
			prefix = ifPrefix
		}
		p.Wrong = append(p.Wrong, blame([]service.FieldError{w}, func(column string) *formField {
			return fieldNamed(prefix+column, p.Fields, p.More, p.If)
		})...)
	}
}
