package history

import (
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"

	"askwright/pricing"
	"askwright/service"
)

// Whatever is typed: the title is one line of at most 80 characters, each line
// says something, flaws and smell stand there word for word, and the ledger
// does not.
func TestListingTextOfAnyRow(t *testing.T) {
	usd, _ := service.CurrencyByCode("USD")
	reader := &service.Reader{Currency: usd, Unit: service.UnitInch, Today: pricing.NewDate(2026, 3, 31)}
	word := rapid.StringMatching(`[a-zé ,.'\n]{0,60}`)
	rapid.Check(t, func(t *rapid.T) {
		cells := service.Cells{"ref": "R-1", "category": "desk", "stage": "on_bench", "notes": "SECRET", "purchase_cost": "98765"}
		for _, name := range []string{"category", "wood", "style", "finish", "color", "second_finish", "topcoat", "sheen", "hardware", "maker", "flaws", "smell", "area", "material"} {
			cells[name] = word.Draw(t, name)
		}
		for _, name := range []string{"width", "depth", "height"} {
			cells[name] = rapid.SampledFrom([]string{"", "1", "35 1/2", "90 cm", "12.25"}).Draw(t, name)
		}
		change, wrong := reader.Change(nil, cells, service.ChangeOptions{})
		if wrong != nil {
			t.Skip(wrong)
		}
		title, description := title(change.New, service.UnitInch), describe(change.New, service.UnitInch, nil)
		if n := utf8.RuneCountInString(title); n > 80 || strings.Contains(title, "\n") || title != strings.TrimSpace(title) {
			t.Errorf("title %q of %d characters", title, n)
		}
		for line := range strings.SplitSeq(description, "\n") {
			if strings.TrimSpace(line) == "" {
				t.Errorf("an empty line in %q", description)
			}
		}
		for _, name := range []string{"flaws", "smell"} {
			if said := strings.Join(strings.Fields(cells[name]), " "); !strings.Contains(description, said) {
				t.Errorf("%s %q is not in %q", name, said, description)
			}
		}
		if all := title + description; strings.Contains(all, "SECRET") || strings.Contains(all, "98765") {
			t.Errorf("the ledger is in %q", all)
		}
		if again := describe(change.New, service.UnitInch, nil); again != description {
			t.Errorf("written twice: %q and %q", description, again)
		}
	})
}
