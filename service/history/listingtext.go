package history

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/google/uuid"

	"askwright/service"
	"askwright/service/prose"
)

// ListingText is what to paste into a venue. It says what the row says and
// nothing else: what is unknown is left out, flaws are not.
type ListingText struct {
	Title       string // at most 80 characters, one line
	Description string // plain text
	Cautions    []service.Caution
}

const titleMost = 80

// ListingText writes the text for a listing, or for a piece in the yard that is
// bought.
func (s *Service) ListingText(ctx context.Context, a *service.Actor, id uuid.UUID) (*ListingText, error) {
	l, err := s.recording.Listing(ctx, a, id)
	if err != nil {
		return nil, err
	}
	switch {
	case l.IsObserved():
		return nil, service.Refuse(service.ErrConflict, "%s is someone else's listing", l.Ref)
	case l.ClosedAs != "":
		return nil, service.Refuse(service.ErrConflict, "%s %s", l.Ref, l.HowItLeft())
	case l.Stage == service.StageFound:
		return nil, service.Refuse(service.ErrConflict, "%s is only found, not bought yet", l.Ref)
	case l.Outcome == service.OutcomeSold:
		return nil, service.Refuse(service.ErrConflict, "%s was sold on %s", l.Ref, l.EndedOn)
	}
	done, err := s.doneToIt(ctx, a, l)
	if err != nil {
		return nil, err
	}
	work, err := s.workOn(ctx, a, l)
	if err != nil {
		return nil, err
	}
	return &ListingText{
		Title:       title(l, a.Group.Unit),
		Description: service.Joined("\n", describe(l, a.Group.Unit, done), work, terms(a, l)),
		Cautions:    service.Occasion{Piece: l, Deeds: service.ToOffer}.Cautions(),
	}, nil
}

// workOn names what was done to one's own piece since the listing before, as its
// hours tell.
func (s *Service) workOn(ctx context.Context, a *service.Actor, l *service.Listing) (string, error) {
	if a.MemberID != l.MemberID {
		return "", nil
	}
	lines, err := s.store.CostLines(ctx, a.Tenant(), l.PieceID)
	if err != nil {
		return "", fmt.Errorf("read the hours of %s: %w", l.Ref, err)
	}
	var steps []string
	for _, line := range lines {
		if step := service.InWords(line.Step); line.ListingID == l.ID && line.Voids == uuid.Nil && line.VoidedBy == uuid.Nil && !slices.Contains(steps, step) {
			steps = append(steps, step)
		}
	}
	return sentence("Work done: ", service.Joined(", ", steps...)), nil
}

// terms say the price, where to pick it up, and that it can be brought where the
// group charges for driving.
func terms(a *service.Actor, l *service.Listing) string {
	price, delivery := "", ""
	if ask := l.CurrentAsk(); l.Outcome == service.OutcomeOpen && ask != 0 {
		price = prose.In(a.Group.Currency).Amount(ask.Major(a.Group.Currency))
	}
	if a.Group.DistanceCost > 0 {
		delivery = "for a charge by distance, ask"
	}
	return service.Joined("\n", sentence("Price: ", price), sentence("Delivery: ", delivery))
}

// doneToIt is what refinishes did to legs and top, which no column tells: of
// each the last before the row.
func (s *Service) doneToIt(ctx context.Context, a *service.Actor, l *service.Listing) (map[string]string, error) {
	piece, err := s.recording.Piece(ctx, a, l.PieceID)
	if err != nil {
		return nil, err
	}
	done := map[string]string{}
	for _, row := range piece.Listings {
		if row.ID == l.ID {
			break
		}
		events, err := s.store.Events(ctx, a.Tenant(), row.ID)
		if err != nil {
			return nil, fmt.Errorf("read the events of %s: %w", row.Ref, err)
		}
		for _, e := range events {
			if e.Kind != service.EventRefinish || e.VoidedBy != uuid.Nil {
				continue
			}
			for _, part := range []string{"legs", "top"} {
				if text := e.Details[part]; text != "" {
					done[part] = text
				}
			}
		}
	}
	return done, nil
}

// title takes in what fits: what it is, its look, its width.
func title(l *service.Listing, unit string) string {
	title := service.OneLine(whatWithStyle(l))
	if utf8.RuneCountInString(title) > titleMost {
		title = service.OneLine(prose.What(l)) // the style is what can be spared
	}
	width := ""
	if l.Width > 0 {
		width = lengthIn(l, l.Width, unit) + " " + unit + " wide"
	}
	for _, part := range []string{prose.Surface(l.Finish, l.Color), width} {
		if longer := service.Joined(", ", title, service.OneLine(part)); utf8.RuneCountInString(longer) <= titleMost {
			title = longer
		}
	}
	return service.UpperFirst(cutToWords(title, titleMost))
}

// cutToWords shortens a text to whole words, a single long one to its
// beginning.
func cutToWords(text string, most int) string {
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	cut := string(runes[:most])
	if runes[most] != ' ' {
		if at := strings.LastIndexByte(cut, ' '); at > 0 {
			cut = cut[:at]
		}
	}
	return strings.TrimRight(cut, " ,;")
}

var styleWords = map[string]string{"mid_century": "mid-century", "art_deco": "Art Deco", "art_nouveau": "Art Nouveau"}

func styleInWords(style string) string {
	if text, ok := styleWords[service.Canonical(style)]; ok {
		return text
	}
	return service.InWords(style)
}

// whatWithStyle names the piece with its style and, of a mixed set, all of it:
// traditional oak dining table with 6 dining chairs.
func whatWithStyle(l *service.Listing) string {
	what := service.Joined(" ", styleInWords(l.Style), prose.What(l))
	if l.SetSize > 1 {
		what = service.Joined(", ", prose.What(l), styleInWords(l.Style))
	}
	for i, item := range l.Items {
		word := " and "
		switch i {
		case 0:
			continue // the piece itself
		case 1:
			word = " with "
		}
		name := service.InWords(item.Category)
		what += word + service.Count(item.Count, name, service.Plural(name))
	}
	return what
}

// describe writes one line for each thing that is known.
func describe(l *service.Listing, unit string, done map[string]string) string {
	made := ""
	if l.YearMade > 0 {
		made = fmt.Sprintf("made about %d", l.YearMade)
	}
	lines := []string{
		sentence("", service.Joined(", ", whatWithStyle(l), construction(l), made)),
		sentence("Maker: ", l.Maker),
		sentence("Size: ", sizeOf(l, unit)),
		sentence("", partsOf(l)),
		sentence("Finish: ", prose.Look(l)),
		sentence("Legs: ", done["legs"]),
		sentence("Top: ", done["top"]),
		sentence("Condition: ", strings.TrimSuffix(prose.GradeInWords(l.Condition), " condition")),
		sentence("Flaws: ", l.Flaws),
		sentence("Smell: ", l.Smell),
		sentence("Pickup: ", l.Area),
	}
	return service.Joined("\n", lines...)
}

// sentence is a line of its own; "" where there is nothing to say.
func sentence(label, text string) string {
	text = service.OneLine(text)
	if text == "" {
		return ""
	}
	if label == "" {
		text = service.UpperFirst(text)
	}
	if strings.ContainsAny(text[len(text)-1:], ".!?") {
		return label + text
	}
	return label + text + "."
}

// construction says what it is made of, the species being in its name.
func construction(l *service.Listing) string {
	switch l.Material {
	case "mdf":
		return "MDF"
	case "mixed":
		return "mixed materials"
	}
	return service.InWords(l.Material)
}

// sizeOf gives the known lengths in the group's unit, and in parentheses in the
// other one.
func sizeOf(l *service.Listing, unit string) string {
	other := service.UnitInch
	if unit == service.UnitInch {
		other = service.UnitCentimetre
	}
	var here, there []string
	for _, d := range []struct {
		value float64
		name  string
	}{{l.Width, "wide"}, {l.Depth, "deep"}, {l.Height, "high"}} {
		if d.value > 0 {
			here = append(here, lengthIn(l, d.value, unit)+" "+unit+" "+d.name)
			there = append(there, lengthIn(l, d.value, other))
		}
	}
	if here == nil {
		return ""
	}
	each := ""
	switch {
	case l.SetSize > 1:
		each = "each "
	case len(l.Items) > 1:
		each = service.InWords(l.Category) + " "
	}
	return each + strings.Join(here, ", ") + " (" + strings.Join(there, " x ") + " " + other + ")"
}

// lengthIn writes a length of the row in a unit: as it was entered in its own,
// else to the half inch or the whole centimetre.
func lengthIn(l *service.Listing, value float64, unit string) string {
	switch unit {
	case l.Unit:
	case service.UnitCentimetre:
		value = math.Round(service.Centimetres(value, l.Unit))
	default:
		value = math.Round(2*value*10/service.MillimetresPerInch) / 2
	}
	return strconv.FormatFloat(value, 'f', -1, 64)
}

// partsOf counts drawers and doors; none is not worth a line.
func partsOf(l *service.Listing) string {
	drawers, doors := "", ""
	if l.Drawers != nil && *l.Drawers > 0 {
		drawers = service.Count(*l.Drawers, "drawer", "drawers")
	}
	if l.Doors != nil && *l.Doors > 0 {
		doors = service.Count(*l.Doors, "door", "doors")
	}
	return service.Joined(", ", drawers, doors)
}
