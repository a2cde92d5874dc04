package sheet

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"askwright/service"
)

// kindWords are the trade's words for kinds of furniture beside those of the
// list and its aliases. Common practice, no source.
var kindWords = map[string]string{
	"night stand": "nightstand", "night table": "nightstand", "bedside": "nightstand", "bedside cabinet": "nightstand",
	"chest": "", "chest of drawers": "chest_of_drawers", "tall dresser": "chest_of_drawers", "highboy": "chest_of_drawers", "high boy": "chest_of_drawers",
	"tall chest": "chest_of_drawers", "dresser drawers": "dresser", "lowboy": "dresser", "long dresser": "dresser", "low dresser": "dresser",
	"server": "sideboard", "china cabinet": "hutch", "china hutch": "hutch", "side table": "end_table", "lamp table": "end_table", "accent table": "end_table",
	"tv console": "media_stand", "media console": "media_stand", "entertainment center": "media_stand", "media cabinet": "media_stand",
	"kitchen table": "dining_table", "dinner table": "dining_table", "dining set": "", "bookshelf": "bookcase", "book case": "bookcase", "book shelf": "bookcase",
	"bookshelves": "bookcase", "bar stool": "stool", "barstool": "stool", "counter stool": "stool", "foot stool": "stool", "hope chest": "trunk", "blanket chest": "trunk",
	"cedar chest": "trunk", "sofa table": "console_table", "entry table": "console_table", "hall table": "console_table", "console": "console_table",
	"cocktail table": "coffee_table", "chair": "", "table": "", "side chair": "dining_chair", "kitchen chair": "dining_chair", "arm chair": "armchair",
	"accent chair": "armchair", "makeup vanity": "vanity", "vanity table": "vanity", "secretary desk": "secretary", "writing desk": "desk", "head board": "headboard",
	"bed": "bed_frame", "bedframe": "bed_frame", "barcart": "bar_cart", "tea cart": "bar_cart", "wall mirror": "mirror", "cupboard": "cabinet", "wardrobe": "wardrobe",
}

// unsureKinds are words for more than one kind, with the likeliest.
var unsureKinds = map[string]string{"chest": "chest_of_drawers", "chair": "dining_chair", "table": "dining_table", "dining set": "dining_table"}

var (
	setOf      = regexp.MustCompile(`^(?:a )?(?:set|lot) of (\d{1,2}|two|three|four|five|six|eight) (.+)$`)
	ofSet      = regexp.MustCompile(`^(.+?)[ ,\-–]*\(?(?:set|lot) of (\d{1,2}|two|three|four|five|six|eight)\)?$`)
	pairOf     = regexp.MustCompile(`^(?:a )?(?:matching )?pair (?:of )?(.+)$`)
	ofPair     = regexp.MustCompile(`^(.+?)[ ,\-–]*\(?(?:pair|pr\.?)\)?$`)
	countFirst = regexp.MustCompile(`^(\d{1,2}|two|three|four|five|six|eight)(?: ?x)? (.+)$`)
	countLast  = regexp.MustCompile(`^(.+?) ?\(?x ?(\d{1,2})\)?$`)
	andChairs  = regexp.MustCompile(`^(.*?table)\s*(?:\+|&|and|w/|with|plus)\s*(\d{1,2}|two|four|six|eight) (?:(?:matching|dining) )*chairs?$`)
	written    = map[string]int{"two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "eight": 8}
)

// kindRead is what words say of what a piece is.
type kindRead struct {
	category, items string
	set             int // 0: not said
	plural          bool
	rule            string
}

// kind reads what a piece is.
func (s *session) kind(col *column, text string) kindRead {
	text = strings.Trim(plain(text), " .")
	if isNothing(text) {
		return kindRead{rule: "nothing"}
	}
	if m := andChairs.FindStringSubmatch(text); m != nil {
		table := s.oneKind(col, m[1])
		return kindRead{category: table.category, items: fmt.Sprintf("%s:1;dining_chair:%d", table.category, countOf(m[2])), rule: "table_and_chairs"}
	}
	bare, set := cutSet(text)
	read := s.oneKind(col, bare)
	if set > 1 {
		read.set, read.plural, read.rule = set, false, "set_of"
	}
	return read
}

// cutSet takes the number of like items away from their name.
func cutSet(text string) (bare string, set int) {
	if m := setOf.FindStringSubmatch(text); m != nil {
		return m[2], countOf(m[1])
	}
	if m := ofSet.FindStringSubmatch(text); m != nil {
		return m[1], countOf(m[2])
	}
	if m := pairOf.FindStringSubmatch(text); m != nil {
		return m[1], 2
	}
	if m := ofPair.FindStringSubmatch(text); m != nil {
		return m[1], 2
	}
	if m := countLast.FindStringSubmatch(text); m != nil {
		return m[1], countOf(m[2])
	}
	if m := countFirst.FindStringSubmatch(text); m != nil {
		if _, exact := exactKind(singular(m[2])); exact {
			return m[2], countOf(m[1])
		}
	}
	return text, 0
}

func countOf(text string) int {
	if n, ok := written[text]; ok {
		return n
	}
	n, _ := strconv.Atoi(text)
	return n
}

// exactKind finds a word of the list, of its aliases or of the trade.
func exactKind(text string) (kind string, ok bool) {
	word := service.CanonicalWord(text)
	if slices.Contains(service.Categories, word) {
		return word, true
	}
	kind = kindWords[strings.ReplaceAll(text, "-", " ")]
	return kind, kind != ""
}

func singular(text string) string {
	switch {
	case strings.HasSuffix(text, "shelves"):
		return strings.TrimSuffix(text, "ves") + "f"
	case strings.HasSuffix(text, "chests of drawers"):
		return strings.Replace(text, "chests", "chest", 1)
	case strings.HasSuffix(text, "benches"):
		return strings.TrimSuffix(text, "es")
	case strings.HasSuffix(text, "vanities"):
		return strings.TrimSuffix(text, "ies") + "y"
	case strings.HasSuffix(text, "s") && !strings.HasSuffix(text, "ss") && !strings.HasSuffix(text, "drawers"):
		return strings.TrimSuffix(text, "s")
	}
	return text
}

// oneKind reads the name of one kind, which may stand in a description.
func (s *session) oneKind(col *column, text string) kindRead {
	if kind, ok := exactKind(text); ok {
		return kindRead{category: kind, rule: "kind"}
	}
	one := singular(text)
	if kind, ok := exactKind(one); ok {
		return kindRead{category: kind, plural: one != text, rule: "kind"}
	}
	if likely := unsureKinds[one]; likely != "" {
		return kindRead{category: s.wordAsked(col, one, likely, "unsure_kind"), plural: one != text, rule: "unsure_kind"}
	}
	if kind, plural, ok := s.kindWithin(col, text); ok {
		return kindRead{category: kind, plural: plural, rule: "kind_in_text"}
	}
	last := singular(one[strings.LastIndexByte(one, ' ')+1:])
	if likely := unsureKinds[last]; likely != "" {
		return kindRead{category: s.wordAsked(col, text, likely, "unsure_kind"), plural: one != text, rule: "unsure_kind"}
	}
	if near := nearKnown(one, service.Categories); near != "" {
		return kindRead{category: s.wordAsked(col, text, near, "near_word"), rule: "near_word"}
	}
	return kindRead{category: s.wordAsked(col, text, service.CanonicalWord(text), "new_word"), rule: "new_word"}
}

// kindWithin finds the kind in a description: the last name of one before any
// "with". Whether the column is to be read so is asked once.
func (s *session) kindWithin(col *column, text string) (kind string, plural, ok bool) {
	head := text
	for _, mark := range []string{" with ", " w/ ", " w/", "(", ",", " - ", " for ", " in "} {
		if at := strings.Index(head, mark); at > 0 {
			head = head[:at]
		}
	}
	words := strings.Fields(strings.ReplaceAll(head, "-", " "))
	for end := len(words); end > 0 && kind == ""; end-- {
		for n := min(3, end); n > 0; n-- {
			part := strings.Join(words[end-n:end], " ")
			if found, ok := exactKind(part); ok {
				kind = found
				break
			}
			if found, ok := exactKind(singular(part)); ok {
				kind, plural = found, true
				break
			}
		}
	}
	if kind == "" {
		return "", false, false
	}
	answer := s.ask.about(Question{
		Code: "kind_in_text", Column: col.field, Heading: col.heading, Found: text, Proposed: "yes",
		Text: fmt.Sprintf("%q describes more than the kind. Take the kind from the words, here %s?", service.Clip(text), service.InWords(kind)),
	})
	return kind, plural, answer == "yes"
}
