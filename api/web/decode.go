package web

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

	"askwright/service"
)

// No body needs more: how deep arrays and objects nest, and how many values
// there are, each of which takes many times its text in memory.
const (
	maxDepth  = 8
	maxValues = 200_000
)

// nodeKind is what a JSON value is.
type nodeKind uint8

// NullNode and the others are the kinds of JSON values.
const (
	NullNode nodeKind = iota
	BoolNode
	NumberNode
	StringNode
	ArrayNode
	ObjectNode
)

var nodeNames = [...]string{"null", "true or false", "a number", "a string", "an array", "an object"}

func (k nodeKind) String() string { return nodeNames[k] }

// Node is a JSON value. Numbers stay as they were written: money never passes
// through a binary float.
type Node struct {
	Kind    nodeKind
	Text    string // of a string, a number, true or false
	Items   []Node
	Members []member
}

type member struct {
	Name  string
	Value Node
}

// ReadJSON reads a body of one JSON value and decodes it into target.
func ReadJSON(c *gin.Context, limit int64, target any) error {
	return readBody(c, limit, target, "application/json")
}

// ReadPatch reads a merge patch (RFC 7396).
func ReadPatch(c *gin.Context, limit int64, target any) error {
	return readBody(c, limit, target, "application/json", "application/merge-patch+json")
}

func readBody(c *gin.Context, limit int64, target any, mediaTypes ...string) error {
	if err := WantMediaType(c, mediaTypes...); err != nil {
		return err
	}
	body, err := io.ReadAll(http.MaxBytesReader(c.Writer, c.Request.Body, limit))
	if err != nil {
		return bodyError(err)
	}
	return DecodeJSON(body, target)
}

// WantMediaType refuses bodies of another kind.
func WantMediaType(c *gin.Context, allowed ...string) error {
	sent := c.GetHeader("Content-Type")
	mediaType, parameters, err := mime.ParseMediaType(sent)
	for _, want := range allowed {
		if err == nil && mediaType == want {
			if charset := parameters["charset"]; charset != "" && !strings.EqualFold(charset, "utf-8") {
				return Refuse(unsupportedMedia, "the charset is %q; send UTF-8", Clip(charset, 40))
			}
			return nil
		}
	}
	return Refuse(unsupportedMedia, "the Content-Type is %q; expected %s", Clip(sent, 60), strings.Join(allowed, " or "))
}

// bodyError sorts out why a body could not be read.
func bodyError(err error) error {
	var large *http.MaxBytesError
	var own *RequestError
	if errors.As(err, &large) || errors.As(err, &own) {
		return err
	}
	return Refuse(Malformed, "the body could not be read to its end: %v", err)
}

// DecodeJSON is the one way in for a JSON body: valid UTF-8, one value, no
// name twice in an object, no name that target does not know.
func DecodeJSON(body []byte, target any) error {
	root, err := parseJSON(body)
	if err != nil {
		return err
	}
	return decode(root, target)
}

// parseJSON reads text of one JSON value (RFC 8259, and of RFC 7493 that names
// are unique).
func parseJSON(body []byte) (Node, error) {
	if at := invalidUTF8(body); at >= 0 {
		return Node{}, Refuse(Malformed, "the body is not valid UTF-8 at byte %d", at)
	}
	p := NewParser(bytes.NewReader(body))
	root, err := p.Value("", 0)
	if err != nil {
		return Node{}, err
	}
	if _, err := p.Decoder.Token(); !errors.Is(err, io.EOF) {
		return Node{}, Refuse(Malformed, "more text follows the JSON value, at byte %d", p.Decoder.InputOffset())
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

// Parser builds nodes from tokens.
type Parser struct {
	Decoder *json.Decoder
	values  int // read of the one at hand
}

// NewParser reads JSON values from r, one at a time.
func NewParser(r io.Reader) *Parser {
	d := json.NewDecoder(r)
	d.UseNumber()
	return &Parser{Decoder: d}
}

// Token reads on, saying where it cannot.
func (p *Parser) Token(pointer string) (json.Token, error) {
	t, err := p.Decoder.Token()
	switch {
	case err == nil:
		return t, nil
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		if p.Decoder.InputOffset() == 0 {
			return nil, Refuse(Malformed, "the body is empty; expected JSON")
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
	return &RequestError{Kind: Malformed, Detail: detail, Errors: []ProblemError{problemError(service.FieldError{Pointer: pointer, Reason: reason})}}
}

// Value reads a value with all that is in it.
func (p *Parser) Value(pointer string, depth int) (Node, error) {
	p.values = 0
	return p.value(pointer, depth)
}

func (p *Parser) value(pointer string, depth int) (Node, error) {
	if p.values++; p.values > maxValues {
		return Node{}, Refuse(TooLarge, "there are more than %d values; send fewer at once", maxValues)
	}
	t, err := p.Token(pointer)
	if err != nil {
		return Node{}, err
	}
	return p.valueFrom(t, pointer, depth)
}

func (p *Parser) valueFrom(t json.Token, pointer string, depth int) (Node, error) {
	switch v := t.(type) {
	case nil:
		return Node{Kind: NullNode}, nil
	case bool:
		return Node{Kind: BoolNode, Text: strconv.FormatBool(v)}, nil
	case json.Number:
		return Node{Kind: NumberNode, Text: v.String()}, nil
	case string:
		if strings.ContainsRune(v, 0) {
			return Node{}, atPointer(pointer, "the text holds a NUL character")
		}
		return Node{Kind: StringNode, Text: v}, nil
	case json.Delim:
		if depth >= maxDepth {
			return Node{}, atPointer(pointer, fmt.Sprintf("arrays and objects nest deeper than %d", maxDepth))
		}
		if v == '[' {
			return p.array(pointer, depth)
		}
		return p.object(pointer, depth)
	}
	return Node{}, atPointer(pointer, "this is not JSON")
}

func (p *Parser) array(pointer string, depth int) (Node, error) {
	n := Node{Kind: ArrayNode}
	for p.Decoder.More() {
		item, err := p.value(pointer+"/"+strconv.Itoa(len(n.Items)), depth+1)
		if err != nil {
			return Node{}, err
		}
		n.Items = append(n.Items, item)
	}
	_, err := p.Token(pointer) // the bracket
	return n, err
}

func (p *Parser) object(pointer string, depth int) (Node, error) {
	n := Node{Kind: ObjectNode}
	seen := make(map[string]bool)
	for p.Decoder.More() {
		t, err := p.Token(pointer)
		if err != nil {
			return Node{}, err
		}
		name, _ := t.(string) // the decoder allows nothing else here
		at := pointer + "/" + EscapePointer(name)
		if seen[name] {
			return Node{}, atPointer(at, "this name stands twice in the object")
		}
		seen[name] = true
		value, err := p.value(at, depth+1)
		if err != nil {
			return Node{}, err
		}
		n.Members = append(n.Members, member{name, value})
	}
	_, err := p.Token(pointer) // the brace
	return n, err
}

var pointerEscapes = strings.NewReplacer("~", "~0", "/", "~1")

// EscapePointer writes a name as a part of a JSON pointer (RFC 6901).
func EscapePointer(name string) string { return pointerEscapes.Replace(Clip(name, 100)) }
