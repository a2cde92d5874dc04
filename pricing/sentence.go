package pricing

import (
	"fmt"
	"strings"
)

// Sentence is one thought of an answer for people. Programs pick it by its
// kind; its wording may change.
type Sentence struct {
	Kind string
	Text string
}

// The kinds of sentences. docs/api.md tells them to readers of the API.
const (
	SaidPrice     = "price"     // what it should sell for
	SaidAsk       = "ask"       // the ask
	SaidPlan      = "plan"      // the later asks with their days
	SaidOwnPrice  = "own_price" // how far one's own price counts, or that one is wanted
	SaidUnused    = "unused"    // what is described and does not count
	SaidDemand    = "demand"    // how it draws so far
	SaidDoubt     = "doubt"     // how far to trust the answer
	SaidRefusal   = "refusal"   // why there is no answer
	SaidDays      = "days"      // how long it has been up
	SaidListings  = "listings"  // which listing of its piece it is
	SaidMessages  = "messages"  // its messages against the usual
	SaidSeason    = "season"    // the whole group is slow
	SaidState     = "state"     // paused, or slow with no step due
	SaidMove      = "move"      // what to do, and why
	SaidRush      = "rush"      // what doing it later costs
	SaidChecks    = "checks"    // cheap things to try first, and those that were done
	SaidMoney     = "money"     // what an ask assumes of pay and space
	SaidHold      = "hold"      // saved for a buyer
	SaidOffer     = "offer"     // what to do about an offer, or what to open with
	SaidPromise   = "promise"   // how far a promise counts
	SaidLowest    = "lowest"    // the lowest amount to take
	SaidLimit     = "limit"     // where nothing is earned any more
	SaidOutcome   = "outcome"   // what a price leads to
	SaidPass      = "pass"      // no price pays
	SaidFinish    = "finish"    // the finish that pays best
	SaidOdds      = "odds"      // how sure that is
	SaidCost      = "cost"      // what it costs
	SaidProfit    = "profit"    // what was earned
	SaidMissing   = "missing"   // what is not recorded, and what that does
	SaidInventory = "inventory" // what is unsold, or closed without a sale
	SaidQuick     = "quick"     // sold at once at the full ask
	SaidVerdict   = "verdict"   // what to buy less of
	SaidWork      = "work"      // what the hours of a week bring
	SaidBatch     = "batch"     // what to do in one session
	SaidBasis     = "basis"     // what the answer is based on
	SaidFactors   = "factors"   // what moves the price
	SaidPace      = "pace"      // how fast it sells, and what moves that
	SaidHaggling  = "haggling"  // sale price against ask
	SaidScore     = "score"     // how often past advice was right
	SaidFollowing = "following" // whether following it would have paid
)

// Say writes a sentence.
func Say(kind, format string, args ...any) Sentence {
	return Sentence{kind, fmt.Sprintf(format, args...)}
}

// Said is the text of the first sentence of a kind; "" where there is none.
func Said(all []Sentence, kind string) string {
	for _, s := range all {
		if s.Kind == kind {
			return s.Text
		}
	}
	return ""
}

// Joined is the sentences as one text.
func Joined(all []Sentence) string {
	texts := make([]string, len(all))
	for i, s := range all {
		texts[i] = s.Text
	}
	return strings.Join(texts, " ")
}
