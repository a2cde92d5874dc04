package api_test

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"askwright/api/web"
	"askwright/service/servicetest"
)

// visitor opens pages as a browser without a screen: it keeps cookies, follows
// no redirects and names where its forms come from.
type visitor struct {
	*site
	client *http.Client
}

// keyLike is what begins as a key or an invitation does: ask_, a letter and the secret.
var keyLike = regexp.MustCompile(`ask_[a-z][0-9A-Za-z]{12}`)

func (s *site) visitor(t *testing.T) *visitor {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &visitor{s, &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

func (v *visitor) send(t *testing.T, method, path string, form url.Values, header ...string) reply {
	t.Helper()
	return v.sendBody(t, method, path, form.Encode(), header...)
}

func (v *visitor) sendBody(t *testing.T, method, path, body string, header ...string) reply {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, v.server.URL+path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Origin", v.server.URL)
	}
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	response, err := v.client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	answer, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	if keyLike.Match(answer) && !strings.Contains(path, "sign-in") && !strings.Contains(path, "invitation") && path != "/board/keys" && path != "/board/settings" {
		t.Errorf("%s %s: a key stands in the page", method, path)
	}
	return reply{response, string(answer)}
}

func (v *visitor) get(t *testing.T, path string) reply {
	t.Helper()
	return v.send(t, http.MethodGet, path, nil)
}

func (v *visitor) post(t *testing.T, path string, pairs ...string) reply {
	t.Helper()
	form := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		form.Set(pairs[i], pairs[i+1])
	}
	return v.send(t, http.MethodPost, path, form)
}

// signedIn is a visitor with a session of that key.
func (s *site) signedIn(t *testing.T, key string) *visitor {
	t.Helper()
	v := s.visitor(t)
	if r := v.post(t, "/board/sign-in", "key", " "+key+"\n"); r.StatusCode != 303 || r.Header.Get("Location") != "/board" {
		t.Fatalf("sign in: %d to %q: %s", r.StatusCode, r.Header.Get("Location"), r.body)
	}
	return v
}

func demoBoard(t *testing.T) *site {
	t.Helper()
	return newSite(t, servicetest.Demo(t), web.Limits{RequestsPerMinute: 100_000, FailuresPerMinute: 100_000})
}

// document is a parsed page.
type document struct{ *html.Node }

func (r reply) page(t testing.TB, status int) document {
	t.Helper()
	if r.StatusCode != status || r.Header.Get("Content-Type") != "text/html; charset=utf-8" {
		t.Fatalf("%s: status %d, %s, want a page with %d: %s", r.Request.URL.Path, r.StatusCode, r.Header.Get("Content-Type"), status, r.body)
	}
	root, err := html.Parse(strings.NewReader(r.body))
	if err != nil {
		t.Fatal(err)
	}
	return document{root}
}

// all finds the elements with a name and, where it is given, a class.
func (d document) all(name, class string) []document {
	var out []document
	for n := range d.Descendants() {
		if n.Type == html.ElementNode && n.Data == name && (class == "" || slices.Contains(strings.Fields(attribute(n, "class")), class)) {
			out = append(out, document{n})
		}
	}
	return out
}

func attribute(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func (d document) text() string {
	var out strings.Builder
	for n := range d.Descendants() {
		if n.Type == html.TextNode {
			out.WriteString(n.Data + " ")
		}
	}
	return strings.Join(strings.Fields(out.String()), " ")
}

// sent is what a form sends as it stands.
func (d document) sent() url.Values {
	out := url.Values{}
	for _, n := range d.all("input", "") {
		out.Set(attribute(n.Node, "name"), attribute(n.Node, "value"))
	}
	for _, n := range d.all("select", "") {
		for _, o := range n.all("option", "") {
			if slices.ContainsFunc(o.Attr, func(a html.Attribute) bool { return a.Key == "selected" }) {
				out.Set(attribute(n.Node, "name"), attribute(o.Node, "value"))
			}
		}
	}
	return out
}

// values are the figures of a part, as the machine reads them.
func (d document) values() []string {
	var out []string
	for _, n := range d.all("data", "") {
		out = append(out, attribute(n.Node, "value"))
	}
	return out
}

// numbersOf collects each number of a JSON document, as it is written.
func numbersOf(t *testing.T, text string) map[string]bool {
	t.Helper()
	found := make(map[string]bool)
	d := json.NewDecoder(strings.NewReader(text))
	d.UseNumber()
	for {
		token, err := d.Token()
		if err == io.EOF {
			return found
		}
		if err != nil {
			t.Fatal(err)
		}
		if n, ok := token.(json.Number); ok {
			found[n.String()] = true
		}
	}
}

func demoListing(t *testing.T, s *site) string {
	t.Helper()
	return want[reviewPage](t, s.do(t, call{method: "GET", path: "/v1/reviews?member=me", key: s.Keys["Maren"]}), 200).Items[0].ID
}
