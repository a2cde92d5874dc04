package service

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/google/uuid"
)

// ListingText is what to paste into a venue. It says what the row says and
// nothing else: what is unknown is left out, flaws are not.
type ListingText struct {
	Title       string // at most 80 characters, one line
	Description string // plain text
	Cautions    []Caution
}

const titleMost = 80

// ListingText writes the text for a listing, or for a piece in the yard that is
// bought.
func (s *Service) ListingText(ctx context.Context, a *Actor, id uuid.UUID) (*ListingText, error) {
	l, err := s.Listing(ctx, a, id)
	if err != nil {
		return nil, err
	}
	switch {
	case l.IsObserved():
		return nil, refuse(ErrConflict, "%s is a stranger's listing", l.Ref)
	case l.LetGo != "":
		return nil, refuse(ErrConflict, "%s %s", l.Ref, l.howItLeft())
	case l.Stage == StageFound:
		return nil, refuse(ErrConflict, "%s is only found, not bought yet", l.Ref)
	case l.Outcome == OutcomeSold:
		return nil, refuse(ErrConflict, "%s was sold on %s", l.Ref, l.EndedOn)
	}
	done, err := s.doneToIt(ctx, a, l)
	if err != nil {
		return nil, err
	}
	return &ListingText{Title: l.title(a.Group.Unit), Description: l.describe(a.Group.Unit, done), Cautions: occasion{piece: l, deeds: toOffer}.cautions()}, nil
}

// doneToIt is what refinishes did to legs and top, which no column tells: of
// each the last before the row.
func (s *Service) doneToIt(ctx context.Context, a *Actor, l *Listing) (map[string]string, error) {
	piece, err := s.Piece(ctx, a, l.PieceID)
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
			if e.Kind != EventRefinish || e.VoidedBy != uuid.Nil {
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
func (l *Listing) title(unit string) string {
	title := oneLine(l.whatWithStyle())
	if utf8.RuneCountInString(title) > titleMost {
		title = oneLine(l.what()) // the style is what can be spared
	}
	width := ""
	if l.Width > 0 {
		width = l.lengthIn(l.Width, unit) + " " + unit + " wide"
	}
	for _, part := range []string{surface(l.Finish, l.Color), width} {
		if longer := joined(", ", title, oneLine(part)); utf8.RuneCountInString(longer) <= titleMost {
			title = longer
		}
	}
	return upperFirst(cutToWords(title, titleMost))
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
	if text, ok := styleWords[canonicalWord(style)]; ok {
		return text
	}
	return inWords(style)
}

// whatWithStyle names the piece with its style and, of a mixed set, all of it:
// traditional oak dining table with 6 dining chairs.
func (l *Listing) whatWithStyle() string {
	what := joined(" ", styleInWords(l.Style), l.what())
	if l.SetSize > 1 {
		what = joined(", ", l.what(), styleInWords(l.Style))
	}
	for i, item := range l.Items {
		word := " and "
		switch i {
		case 0:
			continue // the piece itself
		case 1:
			word = " with "
		}
		name := inWords(item.Category)
		what += word + count(item.Count, name, plural(name))
	}
	return what
}

// describe writes one line for each thing that is known.
func (l *Listing) describe(unit string, done map[string]string) string {
	made := ""
	if l.YearMade > 0 {
		made = fmt.Sprintf("made about %d", l.YearMade)
	}
	lines := []string{
		sentence("", joined(", ", l.whatWithStyle(), l.construction(), made)),
		sentence("Maker: ", l.Maker),
		sentence("Size: ", l.size(unit)),
		sentence("", l.parts()),
		sentence("Finish: ", l.look()),
		sentence("Legs: ", done["legs"]),
		sentence("Top: ", done["top"]),
		sentence("Condition: ", strings.TrimSuffix(gradeInWords(l.Condition), " condition")),
		sentence("Flaws: ", l.Flaws),
		sentence("Smell: ", l.Smell),
		sentence("Pick-up: ", l.Area),
	}
	return joined("\n", lines...)
}

// sentence is a line of its own; "" where there is nothing to say.
func sentence(label, text string) string {
	text = oneLine(text)
	if text == "" {
		return ""
	}
	if label == "" {
		text = upperFirst(text)
	}
	if strings.ContainsAny(text[len(text)-1:], ".!?") {
		return label + text
	}
	return label + text + "."
}

// oneLine takes line breaks out of what somebody typed.
func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

// construction says what it is made of, the species being in its name.
func (l *Listing) construction() string {
	switch l.Material {
	case "mdf":
		return "MDF"
	case "mixed":
		return "mixed materials"
	}
	return inWords(l.Material)
}

// size gives the known lengths in the group's unit, and in parentheses in the
// other one.
func (l *Listing) size(unit string) string {
	other := UnitInch
	if unit == UnitInch {
		other = UnitCentimetre
	}
	var here, there []string
	for _, d := range []struct {
		value float64
		name  string
	}{{l.Width, "wide"}, {l.Depth, "deep"}, {l.Height, "high"}} {
		if d.value > 0 {
			here = append(here, l.lengthIn(d.value, unit)+" "+unit+" "+d.name)
			there = append(there, l.lengthIn(d.value, other))
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
		each = inWords(l.Category) + " "
	}
	return each + strings.Join(here, ", ") + " (" + strings.Join(there, " x ") + " " + other + ")"
}

// lengthIn writes a length of the row in a unit: as it was entered in its own,
// else to the half inch or the whole centimetre.
func (l *Listing) lengthIn(value float64, unit string) string {
	switch unit {
	case l.Unit:
	case UnitCentimetre:
		value = math.Round(centimetres(value, l.Unit))
	default:
		value = math.Round(2*value*10/millimetresPerInch) / 2
	}
	return strconv.FormatFloat(value, 'f', -1, 64)
}

// parts counts drawers and doors; none is not worth a line.
func (l *Listing) parts() string {
	drawers, doors := "", ""
	if l.Drawers != nil && *l.Drawers > 0 {
		drawers = count(*l.Drawers, "drawer", "drawers")
	}
	if l.Doors != nil && *l.Doors > 0 {
		doors = count(*l.Doors, "door", "doors")
	}
	return joined(", ", drawers, doors)
}
