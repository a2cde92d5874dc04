package api_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"askwright/service"
)

func TestBoardInABrowser(t *testing.T) {
	s := demoBoard(t)
	b := newBrowser(t, s.server.URL)
	b.do(t, chromedp.Navigate(b.base+"/board"))
	b.look(t, "sign-in")
	b.do(t, chromedp.SendKeys(chromedp.ID("key"), s.Keys["Maren"]))
	b.press(t, "form.ask button")
	if at := run(t, b, chromedp.Location()); at != b.base+"/board" {
		t.Fatalf("after signing in at %s: %s", at, b.text(t))
	}
	b.look(t, "board")
	b.prints(t, "board")
	b.press(t, ".top nav a")
	b.press(t, ".tape li.stale a")
	b.look(t, "listing")
	b.prints(t, "listing")

	b.do(t, chromedp.SetValue(chromedp.ID("ask"), "333"))
	b.press(t, ".deeds button")
	b.look(t, "confirm")
	b.press(t, "form.ask button")
	if text := b.text(t); !strings.Contains(text, "Recorded: Asks 333 instead of") {
		t.Errorf("after the new ask: %s", text)
	}
	b.look(t, "done")
	b.press(t, ".done button")
	if text := b.text(t); !strings.Contains(text, "An entry was undone") || strings.Contains(text, "asks 333") {
		t.Errorf("after undoing it: %s", text)
	}
	b.press(t, ".top form button")
	if at := run(t, b, chromedp.Location()); at != b.base+"/board/sign-in" {
		t.Errorf("after signing out at %s", at)
	}
	b.do(t, chromedp.Navigate(b.base+"/board?key="+s.keyWith(t, "Maren", service.ScopeFeed)))
	b.look(t, "wall")
}

// prints keeps the page as it prints on A4, which must be one sheet.
func (b *browser) prints(t *testing.T, name string) {
	t.Helper()
	pdf := run(t, b, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4)))
	b.keep(t, name+".pdf", pdf)
	if n := bytes.Count(pdf, []byte("/Type /Page\n")); n != 1 {
		t.Errorf("%s prints on %d sheets, want 1", name, n)
	}
}
