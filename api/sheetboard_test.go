package api_test

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// dropFile sends a file as the form of the page does.
func (v *visitor) dropFile(t *testing.T, name, text string) reply {
	t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	part, err := form.CreateFormFile("file", name)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := part.Write([]byte(text)); err != nil {
		t.Fatal(err)
	}
	if err := form.Close(); err != nil {
		t.Fatal(err)
	}
	return v.sendBody(t, http.MethodPost, "/board/imports", body.String(), "Content-Type", form.FormDataContentType())
}

func TestASheetComesInOnTheBoardAlone(t *testing.T) {
	t.Parallel()
	s := setup(t)
	v := s.signedIn(t, s.Keys["Otto"])
	if text := v.get(t, "/board/imports").page(t, 200).text(); !strings.Contains(text, "Bring in your sheet") {
		t.Error(text)
	}
	sent := v.dropFile(t, "flips.csv", ownSheet)
	at := sent.Header.Get("Location")
	if sent.StatusCode != 303 || !strings.HasPrefix(at, "/board/imports/") {
		t.Fatalf("%d %s", sent.StatusCode, sent.body)
	}
	look := v.get(t, at).page(t, 200).text()
	for _, said := range []string{"Of 3 rows 3 would be new", "Nothing here is called \"Shelf\"", "listed on 2025-08-09 (8/9/25)"} {
		if !strings.Contains(look, said) {
			t.Errorf("the page does not say %q: %s", said, look)
		}
	}
	kept := v.send(t, "POST", at, url.Values{"do": {"keep"}, "column:Shelf": {"notes"}, "answer:q1": {"ask"}, "answer:q2": {"-"}, "answer:q3": {"mdy"}})
	if text := kept.page(t, 200).text(); !strings.Contains(text, "Saved: 3 new") {
		t.Errorf("kept: %s", text)
	}
	rows := want[struct{ Items []struct{ Ref string } }](t, s.do(t, call{method: "GET", path: "/v1/listings", key: s.Keys["Otto"]}), 200)
	if len(rows.Items) != 3 {
		t.Errorf("%+v", rows)
	}
	picture := v.dropFile(t, "photo.csv", "\x89PNG\r\n\x1a\n")
	if text := picture.page(t, 400).text(); !strings.Contains(text, "This is a picture (PNG)") {
		t.Errorf("a picture: %s", text)
	}
}
