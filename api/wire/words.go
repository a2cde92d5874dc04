package wire

import (
	"strings"
)

// Trimmed leaves out cents that are none.
func Trimmed(_ float64, text string) string {
	if whole, cents, ok := strings.Cut(text, "."); ok && strings.Trim(cents, "0") == "" {
		return whole
	}
	return text
}

// CheckWords say the checks of reviews.
var CheckWords = map[string]string{
	"answer_messages": "Answer its messages", "renew_on_resuming": "Repost it when it is back on sale", "title": "Say more in the title",
	"photos": "Take new photos", "another_venue": "Post it at another venue too", "offer_delivery": "Offer delivery",
	"flaws_disclosed": "Show its flaws in the post",
}
