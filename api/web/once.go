package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"io"
	"net/http"
	"os"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/service"
)

// A request that changes something may be repeated: with an Idempotency-Key
// (draft-ietf-httpapi-idempotency-key-header-07) it is done once, and each
// repetition gets the first answer. Calculations have nothing to repeat.

const maxIdempotencyKey = 255

// idempotencyKey reads the header: a quoted string, or as most clients write
// it, without quotes; "" where there is none.
func idempotencyKey(c *gin.Context) (string, error) {
	sent := c.Request.Header.Values("Idempotency-Key")
	if len(sent) == 0 {
		return "", nil
	}
	key := strings.TrimSpace(sent[0])
	if quoted, ok := strings.CutPrefix(key, `"`); ok {
		key, ok = strings.CutSuffix(quoted, `"`)
		if !ok {
			key = ""
		}
	}
	if len(sent) > 1 || key == "" || len(key) > maxIdempotencyKey || strings.ContainsFunc(key, notVisible) {
		return "", Refuse(Malformed, "Idempotency-Key must be one string of 1 to %d visible ASCII characters, such as a UUID", maxIdempotencyKey)
	}
	return key, nil
}

func notVisible(r rune) bool { return r <= ' ' || r > '~' || r == '"' || r == '\\' }

// Once lets a handler that writes be repeated.
func (s *Kit) Once(h Handler) Handler {
	return func(c *gin.Context, a *service.Actor) error {
		key, err := idempotencyKey(c)
		if key == "" || err != nil {
			if err != nil {
				return err
			}
			return h(c, a)
		}
		body, err := Spool(c.Request.Body)
		if err != nil {
			return err
		}
		defer body.Close() // its name is gone already
		r := service.OnceRequest{Operation: c.Request.Method + " " + c.Request.URL.Path, Key: key}
		if r.Sum, err = requestSum(c, body); err != nil {
			return err
		}
		c.Request.Body = body
		held := &heldWriter{ResponseWriter: c.Writer}
		kept, err := s.repeats.Once(c.Request.Context(), a, r, func(ctx context.Context) (*service.OnceAnswer, error) {
			return held.run(ctx, c, a, h)
		})
		if err != nil {
			return err
		}
		return held.send(c, kept)
	}
}

// run answers into the writer.
func (w *heldWriter) run(ctx context.Context, c *gin.Context, a *service.Actor, h Handler) (*service.OnceAnswer, error) {
	request := c.Request
	defer func() { c.Writer, c.Request = w.ResponseWriter, request }()
	c.Writer, c.Request, w.status = w, request.WithContext(ctx), http.StatusOK
	if err := h(c, a); err != nil {
		return nil, err
	}
	return w.answer(c), nil
}

// send sends what is on file by now: the fresh answer, with what is shown only
// once, or the kept one.
func (w *heldWriter) send(c *gin.Context, kept *service.OnceAnswer) error {
	text := kept.Body
	if w.status != 0 {
		text = w.body.Bytes()
	}
	for name, value := range kept.Headers {
		c.Header(name, value)
	}
	c.Status(kept.Status)
	_, err := c.Writer.Write(text)
	return err
}

// requestSum is the hash of all that the answer depends on.
func requestSum(c *gin.Context, body *os.File) (sum [sha256.Size]byte, err error) {
	hash := sha256.New()
	for _, text := range []string{c.Request.URL.RawQuery, MediaTypeOf(c), c.GetHeader("If-Match")} {
		hash.Write([]byte(text + "\n"))
	}
	if _, err := body.Seek(0, io.SeekStart); err != nil {
		return sum, spoolError(err)
	}
	if _, err := io.Copy(hash, body); err != nil {
		return sum, spoolError(err)
	}
	_, err = body.Seek(0, io.SeekStart)
	return [sha256.Size]byte(hash.Sum(nil)), err
}

// keptHeaders are those that a repetition gets, too.
var keptHeaders = []string{"Content-Type", "Location", "Etag", "Cache-Control"}

// heldWriter holds an answer back until it is on file.
type heldWriter struct {
	gin.ResponseWriter
	status int
	body   bytes.Buffer
}

// WriteHeader notes the status.
func (w *heldWriter) WriteHeader(status int) { w.status = status }

// WriteHeaderNow sends nothing yet, nor does any other method.
func (w *heldWriter) WriteHeaderNow() {}

// Write keeps a piece of the body.
func (w *heldWriter) Write(b []byte) (int, error) { return w.body.Write(b) }

// WriteString is Write.
func (w *heldWriter) WriteString(s string) (int, error) { return w.body.WriteString(s) }

// Status is the one noted.
func (w *heldWriter) Status() int { return w.status }

// Size is that of the body so far.
func (w *heldWriter) Size() int { return w.body.Len() }

// Written is false: a failure can still become a problem.
func (w *heldWriter) Written() bool { return false }

// Flush sends nothing yet.
func (w *heldWriter) Flush() {}

// answer is what is kept: without secrets, which are shown once.
func (w *heldWriter) answer(c *gin.Context) *service.OnceAnswer {
	kept := &service.OnceAnswer{Status: w.status, Headers: map[string]string{}, Body: bytes.Clone(w.body.Bytes())}
	if text, ok := c.Value(WithoutSecretKey).([]byte); ok {
		kept.Body = text
	}
	for _, name := range keptHeaders {
		if value := w.Header().Get(name); value != "" {
			kept.Headers[name] = value
		}
	}
	return kept
}

// WithoutSecretKey is under which a handler leaves the form of its answer that
// may be kept.
const WithoutSecretKey = "askwright.withoutsecret"
