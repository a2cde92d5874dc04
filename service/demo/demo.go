// Package demo makes up the Millrace Lane group: five members in the invented
// river town of Otterford, the furniture they offered over two years, what
// strangers asked meanwhile, and what still stands in the yard. Everything in
// it is invented; the numbers of its market are common practice of the trade
// without a published source.
//
// It yields spreadsheet rows, so that a program takes them in through the same
// path as anybody's own.
package demo

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"

	"askwright/pricing"
)

// What the group is created with.
const (
	GroupName = "Millrace Lane"
	Currency  = "USD"             // ISO 4217
	Unit      = "in"              // of lengths without a unit of their own
	TimeZone  = "America/Chicago" // IANA name
	HourValue = 12                // dollars that an hour of work must bring: about what their hours earn
)

const (
	years    = 2   // that the listings span
	listings = 320 // own and observed together
)

// Member is a person of the group with the rows of their spreadsheet.
type Member struct {
	Name string
	Rows []Row // by date listed, then the pieces not yet offered
}

// Row is one row of a spreadsheet: column name to cell text. An absent column
// is an empty cell.
type Row map[string]string

// Generate returns the group's members with the rows that they would hold on
// the day today. The same arguments give the same rows.
//
// What a piece cost to buy stands in its first row only, what was spent on a
// look or a sale in the row of that look or sale.
func Generate(today pricing.Date, seed uint64) []Member {
	m := &market{
		rng:   rand.New(rand.NewPCG(seed, 0)), //nolint:gosec // the same rows again are the point
		start: pricing.DateOf(today.Time().AddDate(-years, 0, 1)),
		today: today,
	}
	own := make([][]*listing, len(sellers))
	count := 0
	for i := range sellers {
		own[i] = append(m.trade(&sellers[i]), stories(sellers[i].name, today)...)
		own[i] = append(own[i], m.stuck(&sellers[i])...)
		count += len(own[i])
	}
	observed := make([][]*listing, len(sellers))
	// Whoever watches the market fills the spreadsheet up to its usual size.
	for n := max(20, min(listings-count, 75)); n > 0; n-- {
		i := m.rng.IntN(len(sellers))
		observed[i] = append(observed[i], m.watch())
	}
	members := make([]Member, len(sellers))
	for i := range sellers {
		s := &sellers[i]
		yard := m.yard(s)
		number(s, own[i], observed[i], yard)
		all := slices.Concat(own[i], observed[i])
		slices.SortStableFunc(all, byListed)
		members[i].Name = s.name
		for _, l := range append(all, yard...) {
			members[i].Rows = append(members[i].Rows, l.row())
		}
	}
	return members
}

func byListed(a, b *listing) int { return cmp.Compare(a.listedOn, b.listedOn) }

// number names the listings: a piece by the member's letter and a running
// number, its later listings by a further one, observed ones by "seen". The
// numbers of the stories stay theirs.
func number(s *seller, own, observed, yard []*listing) {
	taken := map[string]bool{}
	for _, l := range own {
		taken[l.ref] = true
	}
	slices.SortStableFunc(own, byListed)
	slices.SortStableFunc(observed, byListed)
	next := 0
	listed := map[*piece]int{}
	for _, l := range slices.Concat(own, yard) {
		if l.ref != "" {
			continue
		}
		if l.piece.ref == "" {
			for next++; taken[s.refOf(next)]; next++ {
			}
			l.piece.ref = s.refOf(next)
		}
		l.ref = l.piece.ref
		if listed[l.piece]++; listed[l.piece] > 1 {
			l.ref = fmt.Sprintf("%s-%d", l.ref, listed[l.piece])
		}
	}
	for i, l := range observed {
		l.ref = fmt.Sprintf("%s-seen-%02d", s.letter, i+1)
		l.piece.ref = l.ref
	}
}
