package wire

import (
	"strings"

	"askwright/api/web"
)

// Trimmed leaves out cents that are none.
func Trimmed(_ float64, text string) string {
	if whole, cents, ok := strings.Cut(text, "."); ok && strings.Trim(cents, "0") == "" {
		return whole
	}
	return text
}

// ReasonWords say the reasons of reviews.
var ReasonWords = map[string]string{
	"price": "the price", "look": "the look", "exposure": "too few eyes on it", "season": "the season", "luck": "bad luck so far",
}

// CheckWords say the checks of reviews.
var CheckWords = map[string]string{
	"answer_messages": "Answer its messages", "renew_on_resuming": "Renew the post when it is back", "title": "Say more in its title",
	"photos": "Take new photos", "another_venue": "Post it at another venue too", "offer_delivery": "Offer delivery",
	"flaws_disclosed": "Show its flaws in the post",
}

// Phrase tells somebody what to do.
func Phrase(r Remedy, present *web.Number) string {
	switch r.Action {
	case "reprice":
		return "Ask " + Trimmed(0, r.Ask.Text()) + ", not " + Trimmed(0, present.Text())
	case "renew":
		return "Post it afresh"
	case "refinish":
		look := strings.ReplaceAll(strings.TrimSpace(r.Color+" "+r.Finish), "_", " ")
		return "Refinish it (" + look + "), then ask " + Trimmed(0, r.Ask.Text())
	case "withdraw":
		return "Take it down"
	}
	return "Wait"
}
