package api_test

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// phone is a browser as wide as a phone, signed in as Maren.
func phone(t *testing.T) *browser {
	t.Helper()
	s := demoBoard(t)
	b := newBrowser(t, s.server.URL)
	b.do(t, chromedp.EmulateViewport(390, 844), chromedp.Navigate(b.base+"/board"), chromedp.SendKeys(chromedp.ID("key"), s.Keys["Maren"]))
	b.press(t, "form.ask button")
	return b
}

// step begins at Today, follows the links, at most two, fills in the form that is
// then there and sends it: three taps. The page after that must hold what is
// wanted and fit the screen.
func (b *browser) step(t *testing.T, want string, fields map[string]string, taps ...string) {
	t.Helper()
	if len(taps) > 3 {
		t.Fatalf("%v: %d taps, want at most 3", taps, len(taps))
	}
	b.do(t, chromedp.Navigate(b.base+"/board"))
	for i, tap := range taps {
		if i == len(taps)-1 {
			for id, value := range fields {
				b.do(t, chromedp.SetValue(chromedp.ID(id), value))
			}
		}
		b.press(t, tap)
	}
	if text := b.text(t); !strings.Contains(text, want) {
		t.Errorf("after %v the page has no %q: %s", taps, want, text)
	}
	if over := run(t, b, chromedp.Evaluate[int]("document.documentElement.scrollWidth - document.documentElement.clientWidth")); over > 0 {
		t.Errorf("after %v: %d pixels wider than the phone", taps, over)
	}
}

// The week of a flipper on a phone: two finds weighed, one bought, worked on,
// listed, held, released, offered for and sold; each step three taps from Today.
func TestAWeekOnThePhone(t *testing.T) {
	t.Parallel()
	b := phone(t)
	finds, send := `.top a[href="/board/finds"]`, "form.ask button"
	find := map[string]string{"category": "desk", "width": "42", "material": "solid_wood", "condition": "fair", "planned_finish": "painted", "seller_ask": "90"}
	b.step(t, "Before you pay", find, finds, ".describe button")
	find["category"], find["width"], find["seller_ask"] = "dresser", "48", "35"
	b.step(t, "Looked at lately", find, finds, ".describe button")
	b.check(t, "a find")
	b.press(t, ".keep button")
	ref := run(t, b, chromedp.Evaluate[string](`document.querySelector(".done").innerText.match(/F-\S+\d/)[0]`))
	b.step(t, "Saved: Bought", map[string]string{"purchase_cost": "35"}, finds, `a[aria-label="Bought …: `+ref+`"]`, send)

	bench := `.todo a[aria-label$=": ` + ref + `"]`
	b.step(t, "on the bench", nil, bench, send)
	b.step(t, "40 of", map[string]string{"hours": "40", "step": "sanding and paint"}, bench, send)
	piece := run(t, b, chromedp.Location())
	b.step(t, "List it", nil)
	b.check(t, "today")
	b.do(t, chromedp.Navigate(piece))
	b.press(t, `.actions a[href*="kind=cost"]`)
	b.do(t, chromedp.SetValue(chromedp.ID("amount"), "18.50"))
	b.press(t, send)
	b.check(t, "a piece")

	b.step(t, "asks $", nil, bench, send)
	listing, _, _ := strings.Cut(run(t, b, chromedp.Location()), "?")
	act := func(want, kind string, fields map[string]string) {
		t.Helper()
		b.do(t, chromedp.Navigate(listing))
		b.press(t, `.actions a[href*="kind=`+kind+`"]`)
		for id, value := range fields {
			b.do(t, chromedp.SetValue(chromedp.ID(id), value))
		}
		b.press(t, send)
		if text := b.text(t); !strings.Contains(text, want) {
			t.Errorf("after %s the page has no %q: %s", kind, want, text)
		}
	}
	act("Saved: Held for a buyer through", "hold", nil)
	act("Saved: Released", "release", map[string]string{"why": "no_show"})
	act("Saved: Offer of $150", "offer", map[string]string{"amount": "150"})
	b.check(t, "an offer")
	b.press(t, `.offer a[href*="answer=counter"]`)
	b.do(t, chromedp.SetValue(chromedp.ID("amount"), "200"))
	b.press(t, send)
	if text := b.text(t); !strings.Contains(text, "Answered: $200 instead") {
		t.Errorf("after the counteroffer: %s", text)
	}
	act("Saved: Sold for $200", "sold", map[string]string{"sale_price": "200", "sold_venue": "porch sale"})
	b.heard(t)
}

// 35 listings are at most 3,500 pixels high on a phone.
func TestListingsAreShortOnAPhone(t *testing.T) {
	t.Parallel()
	b := phone(t)
	b.do(t, chromedp.Navigate(b.base+"/board/listings"))
	rows := run(t, b, chromedp.Evaluate[int](`document.querySelectorAll(".tape li").length`))
	if height := run(t, b, chromedp.Evaluate[int]("document.documentElement.scrollHeight")); rows < 35 || height > 3500*rows/35 {
		t.Errorf("%d listings are %d pixels high, want 3500 for 35", rows, height)
	}
}
