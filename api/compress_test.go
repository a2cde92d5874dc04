package api_test

import (
	"bytes"
	"io"
	"net/http"
	"strings"
	"testing"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
)

// unpacked reads a body by its coding.
func unpacked(t *testing.T, r reply) string {
	t.Helper()
	var from io.Reader = strings.NewReader(r.body)
	var err error
	switch r.Header.Get("Content-Encoding") {
	case "gzip":
		from, err = gzip.NewReader(from)
	case "zstd":
		from, err = zstd.NewReader(from)
	}
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(from)
	if err != nil {
		t.Fatal(err)
	}
	return string(bytes.TrimSpace(text))
}

// Text is packed as the client takes it, under a tag of its own, by which it
// is neither sent again nor overwritten.
func TestTextIsPackedUnderATagOfItsOwn(t *testing.T) {
	t.Parallel()
	s := setup(t)
	key := s.Keys["Wilda"]
	long := strings.Replace(sideboard, "for me", strings.Repeat("for me and others, ", 60), 1)
	path := "/v1/listings/" + s.create(t, "Wilda", long)["id"].(string)
	get := func(path string, header ...string) reply {
		return s.do(t, call{method: "GET", path: path, key: key, header: header})
	}
	plain := get(path, "Accept-Encoding", "identity")
	tag := plain.Header.Get("ETag")
	if plain.Header.Get("Content-Encoding") != "" || tag != `"1"` {
		t.Fatalf("%v", plain.Header)
	}
	for accept, coding := range map[string]string{
		"gzip": "gzip", "gzip, deflate, br, zstd": "zstd", "zstd;q=0, gzip;q=0.1": "gzip", "br": "",
	} {
		packed := get(path, "Accept-Encoding", accept)
		want := tag
		if coding != "" {
			want = `"1-` + coding + `"`
		}
		isPacked := packed.Header.Get("Content-Encoding") == coding && packed.Header.Get("ETag") == want
		if !isPacked || unpacked(t, packed) != strings.TrimSpace(plain.body) {
			t.Errorf("%s: %v", accept, packed.Header)
		}
		if vary := packed.Header.Values("Vary"); len(vary) != 1 || vary[0] != "Authorization, Accept, Accept-Encoding" {
			t.Errorf("%s: Vary %v", accept, vary)
		}
		again := get(path, "Accept-Encoding", accept, "If-None-Match", want)
		if again.StatusCode != http.StatusNotModified || again.Header.Get("ETag") != want ||
			again.Header.Get("Content-Encoding") != "" || again.body != "" {
			t.Errorf("%s: %d %v", accept, again.StatusCode, again.Header)
		}
	}
	head := s.do(t, call{method: "HEAD", path: path, key: key, header: []string{"Accept-Encoding", "gzip"}})
	if head.StatusCode != http.StatusOK || head.Header.Get("ETag") != tag || head.Header.Get("Content-Encoding") != "" {
		t.Errorf("HEAD: %d %v", head.StatusCode, head.Header)
	}
	for i, match := range []string{`"1-gzip"`, `"2"`, `"3-zstd"`} {
		body := `{"ask":` + strings.Repeat("4", i+2) + `}`
		patch := call{method: "PATCH", path: path, key: key, body: body, header: []string{"If-Match", match}}
		if r := s.do(t, patch); r.StatusCode != http.StatusOK {
			t.Errorf("If-Match %s: %d %s", match, r.StatusCode, r.body)
		}
		wantProblem(t, s.do(t, patch), 412, "changed")
	}
	for _, odd := range []string{`"4-br"`, `"4-gzip-gzip"`, `-gzip"`} {
		patch := call{method: "PATCH", path: path, key: key, body: `{"ask":9}`, header: []string{"If-Match", odd}}
		wantProblem(t, s.do(t, patch), 412, "changed")
	}
}

// Lists, pages of the board and tables are packed; what is small, and what is
// packed already, goes out as it is.
func TestWhatIsPacked(t *testing.T) {
	t.Parallel()
	s := setup(t)
	for _, ref := range []string{"B-1", "B-2", "B-3", "B-4"} {
		s.create(t, "Wilda", strings.Replace(sideboard, "B-17", ref, 1))
	}
	for path, coding := range map[string]string{
		"/v1/listings": "gzip", "/v1/listings.csv": "gzip", "/v1/reviews": "gzip", "/openapi.json": "gzip",
		"/board/sign-in":    "gzip",
		"/v1/listings.xlsx": "", "/healthz": "",
	} {
		r := s.do(t, call{method: "GET", path: path, key: s.Keys["Wilda"], header: []string{"Accept-Encoding", "gzip"}})
		if r.StatusCode != http.StatusOK || r.Header.Get("Content-Encoding") != coding {
			t.Errorf("%s: %d, %d bytes, %v", path, r.StatusCode, len(r.body), r.Header)
		}
		if !strings.Contains(strings.Join(r.Header.Values("Vary"), ", "), "Accept-Encoding") {
			t.Errorf("%s: Vary %v", path, r.Header.Values("Vary"))
		}
	}
}
