package sheet

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"askwright/service"
)

// shortWords are what people write for the words of a list, by column. Common
// practice, no source.
var shortWords = map[string]map[string]string{
	"condition": {
		"vg": "very_good", "v good": "very_good", "v. good": "very_good", "vgc": "very_good", "g": "good", "gd": "good", "ok": "", "okay": "",
		"f": "fair", "fr": "fair", "p": "poor", "e": "excellent", "ex": "excellent", "exc": "excellent", "exc.": "excellent", "xlnt": "excellent",
		"rough": "poor", "project": "poor", "v.g.": "very_good", "verygood": "very_good",
	},
	"finish": {
		"paint": "painted", "chalk paint": "painted", "chalk painted": "painted", "milk paint": "painted", "stain": "stained", "orig": "original",
		"orig.": "original", "wax": "waxed", "oil": "oiled", "danish oil": "oiled", "tung oil": "oiled", "poly": "clear", "clear coat": "clear",
		"clearcoat": "clear", "clear poly": "clear", "raw wood": "raw", "stripped": "raw", "bare": "raw", "bare wood": "raw", "cleaned up": "cleaned", "just cleaned": "cleaned",
		"two tone": "two_tone", "2 tone": "two_tone", "2-tone": "two_tone", "as is": "original", "whitewash": "whitewashed", "natural": "", "shabby": "distressed", "distress": "distressed",
		"untouched": "original", "as found": "original",
	},
	"color": {
		"wht": "white", "blk": "black", "gry": "grey", "cream": "off_white", "antique white": "off_white", "off-white": "off_white", "navy blue": "navy", "grn": "green",
		"dk wood": "dark_wood", "dark": "", "lt wood": "light_wood", "med wood": "mid_wood", "medium wood": "mid_wood", "sage": "green", "sage green": "green", "teal": "",
		"tan": "beige", "charcoal": "grey", "espresso": "",
	},
	"wood":     {"wal": "walnut", "mahog": "mahogany", "mahog.": "mahogany", "black walnut": "walnut", "white oak": "oak", "red oak": "oak", "tiger oak": "oak", "hard maple": "maple", "?": ""},
	"material": {"wood": "solid_wood", "solid": "solid_wood", "solid wood": "solid_wood", "particleboard": "particle_board", "mdf": "mdf", "vnr": "veneer", "wood veneer": "veneer", "rattan": "rattan_cane", "cane": "rattan_cane", "wicker": "", "fabric": "upholstered"},
	"hardware": {"orig": "original", "new": "replaced", "orig.": "original"},
	"bought_from": {
		"es": "estate_sale", "estate": "estate_sale", "thrift store": "thrift", "thrift shop": "thrift", "curb": "kerb", "curbside": "kerb", "roadside": "kerb", "trash": "kerb", "free pile": "kerb",
		"yard sale": "private", "garage sale": "private", "neighbor": "private", "friend": "private", "family": "private", "private seller": "private", "auction house": "auction", "online auction": "auction",
	},
	"outcome": {"active": "open", "withdrawn": "pulled"},
	"unit":    {"inch": "in", "inches": "in", `"`: "in", "centimeters": "cm"},
	"source":  {"mine": "own", "me": "own", "seen": "observed", "other": "observed"},
}

// word reads a word of a column's list.
func (s *session) word(col *column, text string) (value, rule string) {
	text = plain(text)
	if isNothing(text) {
		return "", "nothing"
	}
	c, _ := service.FindColumn(col.field)
	if known, ok := knownWord(c, text); ok {
		return known, "word"
	}
	short, listed := shortWords[col.field][strings.Trim(text, ".")]
	if short != "" {
		return short, "short_word"
	}
	if col.field == "condition" || col.field == "condition_found" {
		if short == "" {
			short, listed = shortWords["condition"][strings.Trim(text, ".")]
		}
		if short != "" {
			return short, "short_word"
		}
		if value, ok := gradeNear(text); ok {
			return s.wordAsked(col, text, value, "grade_plus"), "grade_plus"
		}
		if value, ok := outOf(text); ok {
			return s.wordAsked(col, text, value, "grade_number"), "grade_number"
		}
	}
	if listed {
		return s.wordAsked(col, text, nearWord[text], "unsure_word"), "unsure_word"
	}
	if near := nearKnown(text, c.Words); near != "" {
		return s.wordAsked(col, text, near, "near_word"), "near_word"
	}
	if c.Closed {
		return s.wordAsked(col, text, LeaveOut, "unknown_word"), "unknown_word"
	}
	return s.wordAsked(col, text, service.CanonicalWord(text), "new_word"), "new_word"
}

// nearKnown is the known word that a word with a slip was meant to be: at most
// one in four letters is another.
func nearKnown(text string, known []string) string {
	word := service.CanonicalWord(text)
	near := service.Nearest(word, known)
	if near == "" || len(word) < 4 || service.Edits(word, near) > max(1, len(word)/4) {
		return ""
	}
	return near
}

// nearWord is what a word that has no fixed meaning most often means.
var nearWord = map[string]string{
	"ok": "fair", "okay": "fair", "natural": "clear", "dark": "dark_wood", "teal": "blue", "espresso": "dark_wood", "wicker": "rattan_cane", "?": LeaveOut,
}

func knownWord(c *service.Column, text string) (string, bool) {
	word := service.CanonicalWord(text)
	if c != nil && service.IsOneOf(word, c.Words) {
		return word, true
	}
	return word, false
}

var (
	halfGrade = regexp.MustCompile(`^(.+?)\s*(?:\+|-|–|/.*| to .*| or .*)$`)
	tenths    = regexp.MustCompile(`^(\d{1,2})(?:\.\d)?\s*/\s*(5|10)$`)
)

// gradeNear reads good+ and good/very good as the first of them.
func gradeNear(text string) (string, bool) {
	m := halfGrade.FindStringSubmatch(text)
	if m == nil {
		return "", false
	}
	word := plain(m[1])
	if short := shortWords["condition"][word]; short != "" {
		return short, true
	}
	if service.IsOneOf(service.CanonicalWord(word), service.Conditions) {
		return service.CanonicalWord(word), true
	}
	return "", false
}

// outOf reads 7/10 and 4/5 as a grade.
func outOf(text string) (string, bool) {
	m := tenths.FindStringSubmatch(text)
	if m == nil {
		return "", false
	}
	n, _ := strconv.Atoi(m[1])
	of, _ := strconv.Atoi(m[2])
	grade := (n*5 + of - 1) / of
	if grade < 1 || grade > len(service.Conditions) {
		return "", false
	}
	return service.Conditions[grade-1], true
}

func (s *session) wordAsked(col *column, text, proposed, code string) string {
	say := fmt.Sprintf("Is %q %s?", service.Clip(text), service.InWords(proposed))
	switch {
	case proposed == LeaveOut || proposed == "":
		proposed = LeaveOut
		say = fmt.Sprintf("%q is no word of %s. Leave it empty?", service.Clip(text), service.InWords(col.field))
	case code == "new_word":
		say = fmt.Sprintf("%q is new for %s. Keep it as a word of its own?", service.Clip(text), service.InWords(col.field))
	}
	return s.leave(s.ask.about(Question{
		Code: code, Column: col.field, Heading: col.heading, Found: text, Proposed: proposed, Text: say,
	}, text))
}

// look reads finish and color from one cell, or a finish that names its color.
func (s *session) look(text string) (finish, color, rule string) {
	words := strings.FieldsFunc(plain(text), func(r rune) bool { return strings.ContainsRune(" /,+&()-", r) })
	var rest []string
	for i := 0; i < len(words); i++ {
		if i+1 < len(words) {
			if c := colorOf(words[i] + " " + words[i+1]); c != "" && color == "" {
				color = c
				i++
				continue
			}
		}
		f, c := finishOf(words[i]), colorOf(words[i])
		switch {
		case f != "" && finish == "":
			finish = f
		case c != "" && color == "":
			color = c
		case words[i] == "in" || words[i] == "and" || words[i] == "with" || words[i] == f:
		default:
			rest = append(rest, words[i])
		}
	}
	if finish == "" && color == "" || len(rest) > 0 {
		return "", "", ""
	}
	if finish == "" && paintColors[color] {
		finish = "painted"
	}
	return finish, color, "finish_and_color"
}

// paintColors are no colors of wood.
var paintColors = map[string]bool{
	"white": true, "off_white": true, "black": true, "grey": true, "navy": true, "blue": true, "green": true, "red": true, "pink": true, "yellow": true,
}

func finishOf(word string) string { return listedWord("finish", word) }
func colorOf(word string) string  { return listedWord("color", word) }

func listedWord(column, word string) string {
	c, _ := service.ColumnByName(column)
	if known, ok := knownWord(c, word); ok {
		return known
	}
	return shortWords[column][word]
}

// fate is what became of a piece.
type fate struct {
	outcome, letGo, stage, note string
	rule                        string
}

// fates are the words of a status. Common practice, no source.
var fates = map[string]fate{
	"sold": {outcome: service.OutcomeSold}, "s": {outcome: service.OutcomeSold}, "yes": {outcome: service.OutcomeSold}, "y": {outcome: service.OutcomeSold},
	"x": {outcome: service.OutcomeSold}, "sold!": {outcome: service.OutcomeSold}, "true": {outcome: service.OutcomeSold}, "gone": {outcome: service.OutcomeSold},
	"done": {outcome: service.OutcomeSold}, "closed": {outcome: service.OutcomeSold}, "✓": {outcome: service.OutcomeSold}, "✔": {outcome: service.OutcomeSold},
	"open": {outcome: service.OutcomeOpen}, "active": {outcome: service.OutcomeOpen}, "available": {outcome: service.OutcomeOpen}, "listed": {outcome: service.OutcomeOpen},
	"for sale": {outcome: service.OutcomeOpen}, "live": {outcome: service.OutcomeOpen}, "up": {outcome: service.OutcomeOpen}, "still up": {outcome: service.OutcomeOpen},
	"no": {outcome: service.OutcomeOpen}, "n": {outcome: service.OutcomeOpen}, "false": {outcome: service.OutcomeOpen}, "still here": {outcome: service.OutcomeOpen},
	"on market": {outcome: service.OutcomeOpen}, "not sold": {outcome: service.OutcomeOpen}, "unsold": {outcome: service.OutcomeOpen}, "not yet": {outcome: service.OutcomeOpen},
	"pulled": {outcome: service.OutcomePulled}, "withdrawn": {outcome: service.OutcomePulled}, "took down": {outcome: service.OutcomePulled},
	"taken down": {outcome: service.OutcomePulled}, "removed": {outcome: service.OutcomePulled}, "unlisted": {outcome: service.OutcomePulled},
	"delisted": {outcome: service.OutcomePulled}, "expired": {outcome: service.OutcomePulled}, "off": {outcome: service.OutcomePulled},
	"donated": {outcome: service.OutcomePulled, letGo: "given_away"}, "donate": {outcome: service.OutcomePulled, letGo: "given_away"},
	"gave away": {outcome: service.OutcomePulled, letGo: "given_away"}, "given away": {outcome: service.OutcomePulled, letGo: "given_away"},
	"gifted": {outcome: service.OutcomePulled, letGo: "given_away"}, "kept": {outcome: service.OutcomePulled, letGo: "kept"},
	"keeping": {outcome: service.OutcomePulled, letGo: "kept"}, "kept it": {outcome: service.OutcomePulled, letGo: "kept"}, "keep": {outcome: service.OutcomePulled, letGo: "kept"},
	"traded": {outcome: service.OutcomePulled, letGo: "other", note: "traded"}, "trade": {outcome: service.OutcomePulled, letGo: "other", note: "traded"},
	"swapped": {outcome: service.OutcomePulled, letGo: "other", note: "traded"}, "scrapped": {outcome: service.OutcomePulled, letGo: "broken_up"},
	"parted out": {outcome: service.OutcomePulled, letGo: "broken_up"}, "trashed": {outcome: service.OutcomePulled, letGo: "broken_up"},
	"dumped": {outcome: service.OutcomePulled, letGo: "broken_up"}, "bought": {stage: service.StageBought}, "to do": {stage: service.StageBought}, "todo": {stage: service.StageBought},
	"in garage": {stage: service.StageBought}, "waiting": {stage: service.StageBought}, "wip": {stage: service.StageOnBench}, "in progress": {stage: service.StageOnBench},
	"working on it": {stage: service.StageOnBench}, "in work": {stage: service.StageOnBench}, "on bench": {stage: service.StageOnBench}, "sanding": {stage: service.StageOnBench},
	"painting": {stage: service.StageOnBench}, "ready": {stage: service.StageOnBench}, "found": {stage: service.StageFound},
}

// unsureFates are asked about.
var unsureFates = map[string]string{"pending": "open", "hold": "open", "on hold": "open", "ready": "on_bench", "closed": "sold", "done": "sold", "gone": "sold", "off": "pulled", "up": "open"}

// status reads what became of a piece.
func (s *session) status(col *column, text string) fate {
	text = strings.Trim(plain(text), " .!*")
	if text == "?" || text == "" || text == "-" || text == "n/a" {
		return fate{rule: "nothing"}
	}
	known, ok := fates[text]
	proposed, unsure := unsureFates[text]
	if ok && !unsure {
		known.rule = "status"
		return known
	}
	if proposed == "" {
		proposed = LeaveOut
		if near := service.Nearest(text, []string{"sold", "pulled", "donated", "kept", "traded", "open", "listed"}); near != "" {
			proposed = near
		}
	}
	answer := plain(s.wordAsked(col, text, proposed, "status_word"))
	known = fates[answer]
	known.rule = "status_asked"
	if answer == service.OutcomePulled {
		known.outcome = service.OutcomePulled
	}
	if answer == service.StageOnBench {
		known.stage = service.StageOnBench
	}
	return known
}
