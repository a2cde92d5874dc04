package api_test

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha512"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// browser is a headless Chromium with one tab. Whatever its console says, and
// each request that leaves the site, is a failure.
type browser struct {
	ctx  context.Context
	base string
	axe  string

	expects bool // a status that the console complains about

	mu    sync.Mutex
	wrong []string
}

func newBrowser(t *testing.T, base string) *browser {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 4*time.Minute)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx, chromedp.WithAllocatorOptions(chromedp.NoSandbox)) // root has none
	t.Cleanup(cancel)
	b := &browser{ctx: ctx, base: base, axe: axeSource(t)}
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("Chromium is needed and does not start (deploy/test.sh installs it): %v", err)
	}
	if err := chromedp.Listen(ctx, b.hear); err != nil {
		t.Fatal(err)
	}
	_, err := chromedp.Call(ctx, network.Enable, network.EnableParams{})
	if err == nil {
		_, err = chromedp.Call(ctx, log.Enable, cdp.Empty{})
	}
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// hear notes what must not happen.
func (b *browser) hear(event any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := event.(type) {
	case *runtime.EventConsoleAPICalled:
		b.wrong = append(b.wrong, fmt.Sprintf("console.%s", e.Type))
	case *runtime.EventExceptionThrown:
		b.wrong = append(b.wrong, e.ExceptionDetails.Text)
	case *log.EventEntryAdded:
		if !b.expects || !strings.Contains(e.Entry.Text, "Failed to load resource") {
			b.wrong = append(b.wrong, fmt.Sprintf("%s: %s %s", e.Entry.Level, e.Entry.Text, e.Entry.URL))
		}
	case *network.EventRequestWillBeSent:
		u := e.Request.URL // data: is the sign that Chromium itself draws in a field for a day
		if !strings.HasPrefix(u, b.base+"/") && !strings.HasPrefix(u, "data:image/svg+xml") {
			b.wrong = append(b.wrong, "a request to "+u)
		}
	}
}

// heard fails the test for what was noted since the last time.
func (b *browser) heard(t *testing.T) {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, w := range b.wrong {
		t.Errorf("in the browser: %s", w)
	}
	b.wrong = nil
}

func (b *browser) do(t *testing.T, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		t.Fatal(err)
	}
}

// press clicks what leads to another page and waits for it.
func (b *browser) press(t *testing.T, selector string) {
	t.Helper()
	if _, err := chromedp.RunResponse(b.ctx, chromedp.Click(chromedp.CSS(selector))); err != nil {
		t.Fatalf("click %s: %v", selector, err)
	}
}

func run[T any](t *testing.T, b *browser, action chromedp.Action[T]) T {
	t.Helper()
	v, err := chromedp.Run(b.ctx, action)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// text is what a reader sees of the page.
func (b *browser) text(t *testing.T) string {
	t.Helper()
	return run(t, b, chromedp.Evaluate[string]("document.body.innerText"))
}

// screens are those that the pages are for: a phone (2 device pixels to one of
// CSS), and a screen on the wall.
var screens = []struct {
	name          string
	width, height int64
	scheme        string
}{
	{"phone", 390, 844, "light"}, {"phone-dark", 390, 844, "dark"}, {"wall", 1920, 1080, "light"}, {"wall-dark", 1920, 1080, "dark"},
}

// look inspects the page as it is on each screen: a picture is kept, nothing
// may be wider than the screen, and axe-core may find nothing.
func (b *browser) look(t *testing.T, name string) {
	t.Helper()
	for _, s := range screens {
		b.dress(t, s.scheme)
		b.do(t, chromedp.EmulateViewport(s.width, s.height))
		if over := run(t, b, chromedp.Evaluate[int]("document.documentElement.scrollWidth - document.documentElement.clientWidth")); over > 0 {
			t.Errorf("%s on %s: %d pixels wider than the screen", name, s.name, over)
		}
		b.check(t, name+" on "+s.name)
		b.keep(t, name+"-"+s.name+".png", run(t, b, chromedp.FullScreenshot(100)))
	}
	b.heard(t)
}

// dress asks for light or dark.
func (b *browser) dress(t *testing.T, scheme string) {
	t.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
	})
	if err != nil {
		t.Fatal(err)
	}
}

// keep writes a file beside the test's results: go test -artifacts.
func (b *browser) keep(t *testing.T, name string, content []byte) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(t.ArtifactDir(), name), content, 0o644); err != nil {
		t.Fatal(err)
	}
}

// check runs axe-core with its rules for WCAG 2.2 at the levels A and AA, and
// its best practices.
func (b *browser) check(t *testing.T, where string) {
	t.Helper()
	b.do(t, chromedp.Evaluate[chromedp.Void](b.axe+"\n;undefined"))
	type violation struct {
		ID, Help string
		Nodes    []struct{ HTML, FailureSummary string }
	}
	found := run(t, b, chromedp.Evaluate[[]violation](`axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}).then(r => r.violations)`, chromedp.EvalAwaitPromise))
	for _, v := range found {
		t.Errorf("%s: %s (%s), at %d places, first %s\n%s", where, v.Help, v.ID, len(v.Nodes), v.Nodes[0].HTML, v.Nodes[0].FailureSummary)
	}
}

// axe-core is fetched once, by npm, and kept in the user's cache. It is the
// Deque Systems package of that name, MPL-2.0.
const (
	axeVersion = "4.14.1"
	axeSum     = "FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ==" // sha512 of the package, as the registry states it
)

// axeSource is the text of the library.
func axeSource(t *testing.T) string {
	t.Helper()
	cache, err := os.UserCacheDir()
	if err != nil {
		cache = os.TempDir()
	}
	file := filepath.Join(cache, "askwright", "axe-core-"+axeVersion+".js")
	text, err := os.ReadFile(file)
	if errors.Is(err, os.ErrNotExist) {
		text = fetchAxe(t)
		if err = os.MkdirAll(filepath.Dir(file), 0o755); err == nil {
			err = os.WriteFile(file, text, 0o644)
		}
	}
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func fetchAxe(t *testing.T) []byte {
	t.Helper()
	folder := t.TempDir()
	if out, err := exec.CommandContext(t.Context(), "npm", "pack", "axe-core@"+axeVersion, "--silent", "--pack-destination", folder).CombinedOutput(); err != nil {
		t.Fatalf("npm is needed to fetch axe-core (deploy/test.sh installs it): %v\n%s", err, out)
	}
	packed, err := os.ReadFile(filepath.Join(folder, "axe-core-"+axeVersion+".tgz"))
	if err != nil {
		t.Fatal(err)
	}
	if sum := sha512.Sum512(packed); base64.StdEncoding.EncodeToString(sum[:]) != axeSum {
		t.Fatalf("axe-core %s is not the package that is meant: its sum is %x", axeVersion, sum)
	}
	unzipped, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		t.Fatal(err)
	}
	for files := tar.NewReader(unzipped); ; {
		header, err := files.Next()
		if err != nil {
			t.Fatalf("axe-core: %v", err)
		}
		if header.Name == "package/axe.min.js" {
			text, err := io.ReadAll(files)
			if err != nil {
				t.Fatal(err)
			}
			return text
		}
	}
}
