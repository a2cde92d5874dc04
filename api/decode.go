package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/gin-gonic/gin"
)

// maxDepth bounds how deep arrays and objects nest; no body needs more.
const maxDepth = 8

// nodeKind is what a JSON value is.
type nodeKind uint8

const (
	nullNode nodeKind = iota
	boolNode
	numberNode
	stringNode
	arrayNode
	objectNode
)

var nodeNames = [...]string{"null", "true or false", "a number", "a string", "an array", "an object"}

func (k nodeKind) String() string { return nodeNames[k] }

// node is a JSON value. Numbers stay as they were written: money never passes
// through a binary float.
type node struct {
	kind    nodeKind
	text    string // of a string, a number, true or false
	items   []node
	members []member
}

type member struct {
	name  string
	value node
}

// readJSON reads a body of one JSON value and decodes it into target.
func readJSON(c *gin.Context, limit int64, target any) error {
	return readBody(c, limit, target, "application/json")
}

// readPatch reads a merge patch (RFC 7396).
func readPatch(c *gin.Context, limit int64, target any) error {
	return readBody(c, limit, target, "application/json", "application/merge-patch+json")
}

func readBody(c *gin.Context, limit int64, target any, mediaTypes ...string) error {
	if err := wantMediaType(c, mediaTypes...); err != nil {
		return err
	}
	body, err := io.ReadAll(http.MaxBytesReader(c.Writer, c.Request.Body, limit))
	if err != nil {
		return bodyError(err)
	}
	return decodeJSON(body, target)
}

// wantMediaType refuses bodies of another kind.
func wantMediaType(c *gin.Context, allowed ...string) error {
	sent := c.GetHeader("Content-Type")
	mediaType, parameters, err := mime.ParseMediaType(sent)
	for _, want := range allowed {
		if err == nil && mediaType == want {
			if charset := parameters["charset"]; charset != "" && !strings.EqualFold(charset, "utf-8") {
				return refuse(unsupportedMedia, "the charset is %q; send UTF-8", clip(charset, 40))
			}
			return nil
		}
	}
	return refuse(unsupportedMedia, "the Content-Type is %q; expected %s", clip(sent, 60), strings.Join(allowed, " or "))
}

// bodyError sorts out why a body could not be read.
func bodyError(err error) error {
	var large *http.MaxBytesError
	var own *requestError
	if errors.As(err, &large) || errors.As(err, &own) {
		return err
	}
	return refuse(malformed, "the body could not be read to its end: %v", err)
}

// decodeJSON is the one way in for a JSON body: valid UTF-8, one value, no
// name twice in an object, no name that target does not know.
func decodeJSON(body []byte, target any) error {
	root, err := parseJSON(body)
	if err != nil {
		return err
	}
	return decode(root, target)
}

// parseJSON reads text of one JSON value (RFC 8259, and of RFC 7493 that names
// are unique).
func parseJSON(body []byte) (node, error) {
	if at := invalidUTF8(body); at >= 0 {
		return node{}, refuse(malformed, "the body is not valid UTF-8 at byte %d", at)
	}
	p := newParser(bytes.NewReader(body))
	root, err := p.value("", 0)
	if err != nil {
		return node{}, err
	}
	if _, err := p.decoder.Token(); !errors.Is(err, io.EOF) {
		return node{}, refuse(malformed, "more text follows the JSON value, at byte %d", p.decoder.InputOffset())
	}
	return root, nil
}

func invalidUTF8(b []byte) int {
	for at := 0; at < len(b); {
		r, size := utf8.DecodeRune(b[at:])
		if r == utf8.RuneError && size == 1 {
			return at
		}
		at += size
	}
	return -1
}

// parser builds nodes from tokens.
type parser struct{ decoder *json.Decoder }

func newParser(r io.Reader) *parser {
	d := json.NewDecoder(r)
	d.UseNumber()
	return &parser{decoder: d}
}

// token reads on, saying where it cannot.
func (p *parser) token(pointer string) (json.Token, error) {
	t, err := p.decoder.Token()
	switch {
	case err == nil:
		return t, nil
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		if p.decoder.InputOffset() == 0 {
			return nil, refuse(malformed, "the body is empty; expected JSON")
		}
		return nil, atPointer(pointer, "the JSON ends too early")
	}
	var syntax *json.SyntaxError
	if errors.As(err, &syntax) {
		return nil, atPointer(pointer, fmt.Sprintf("this is not JSON: %s, at byte %d", syntax, syntax.Offset))
	}
	return nil, bodyError(err)
}

func atPointer(pointer, reason string) error {
	detail := reason
	if pointer != "" {
		detail = pointer + ": " + reason
	}
	return &requestError{kind: malformed, detail: detail, errors: []ProblemError{{Pointer: pointer, Reason: reason}}}
}

func (p *parser) value(pointer string, depth int) (node, error) {
	t, err := p.token(pointer)
	if err != nil {
		return node{}, err
	}
	return p.valueFrom(t, pointer, depth)
}

func (p *parser) valueFrom(t json.Token, pointer string, depth int) (node, error) {
	switch v := t.(type) {
	case nil:
		return node{kind: nullNode}, nil
	case bool:
		return node{kind: boolNode, text: strconv.FormatBool(v)}, nil
	case json.Number:
		return node{kind: numberNode, text: v.String()}, nil
	case string:
		if strings.ContainsRune(v, 0) {
			return node{}, atPointer(pointer, "the text holds a NUL character")
		}
		return node{kind: stringNode, text: v}, nil
	case json.Delim:
		if depth >= maxDepth {
			return node{}, atPointer(pointer, fmt.Sprintf("arrays and objects nest deeper than %d", maxDepth))
		}
		if v == '[' {
			return p.array(pointer, depth)
		}
		return p.object(pointer, depth)
	}
	return node{}, atPointer(pointer, "this is not JSON")
}

func (p *parser) array(pointer string, depth int) (node, error) {
	n := node{kind: arrayNode}
	for p.decoder.More() {
		item, err := p.value(pointer+"/"+strconv.Itoa(len(n.items)), depth+1)
		if err != nil {
			return node{}, err
		}
		n.items = append(n.items, item)
	}
	_, err := p.token(pointer) // the bracket
	return n, err
}

func (p *parser) object(pointer string, depth int) (node, error) {
	n := node{kind: objectNode}
	seen := make(map[string]bool)
	for p.decoder.More() {
		t, err := p.token(pointer)
		if err != nil {
			return node{}, err
		}
		name, _ := t.(string) // the decoder allows nothing else here
		at := pointer + "/" + escapePointer(name)
		if seen[name] {
			return node{}, atPointer(at, "this name stands twice in the object")
		}
		seen[name] = true
		value, err := p.value(at, depth+1)
		if err != nil {
			return node{}, err
		}
		n.members = append(n.members, member{name, value})
	}
	_, err := p.token(pointer) // the brace
	return n, err
}

var pointerEscapes = strings.NewReplacer("~", "~0", "/", "~1")

// escapePointer writes a name as a part of a JSON pointer (RFC 6901).
func escapePointer(name string) string { return pointerEscapes.Replace(clip(name, 100)) }
