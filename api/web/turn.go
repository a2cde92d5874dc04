package web

import (
	"errors"
	"io"
	"net/http"
	"os"
	"time"

	"github.com/gin-gonic/gin"

	"askwright/service"
)

// Turn waits for a turn to work out and send a long answer, and returns what
// ends it. Others get their turn to work something out as soon as the first byte
// goes to the client, who may be slow.
func (s *Kit) Turn(c *gin.Context, a *service.Actor) (end func(), err error) {
	sent, err := s.answers.Take(c.Request.Context(), a.Group.ID)
	if err != nil {
		return nil, err
	}
	worked, err := s.work.Take(c.Request.Context(), a.Group.ID)
	if err != nil {
		sent()
		return nil, err
	}
	c.Writer = &turnWriter{c.Writer, worked}
	return func() {
		worked()
		sent()
	}, nil
}

// turnWriter notices the first byte.
type turnWriter struct {
	gin.ResponseWriter
	worked func()
}

// Write writes a piece of the body.
func (w *turnWriter) Write(b []byte) (int, error) {
	w.worked()
	return w.ResponseWriter.Write(b)
}

// WriteString is Write.
func (w *turnWriter) WriteString(s string) (int, error) {
	w.worked()
	return w.ResponseWriter.WriteString(s)
}

// Unwrap is for http.ResponseController.
func (w *turnWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// SendSpooled makes a file by write, in a place without a name, and then sends
// it: whoever reads slowly holds nothing but the file.
func SendSpooled(c *gin.Context, mediaType, filename string, write func(io.Writer) error) error {
	f, err := unnamedFile()
	if err != nil {
		return err
	}
	defer f.Close()
	if err := write(f); err != nil {
		return err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return spoolError(err)
	}
	startFile(c, mediaType, filename)
	_, err = io.Copy(c.Writer, f)
	return err
}

// startFile begins an answer that is kept as a file.
func startFile(c *gin.Context, mediaType, filename string) {
	c.Header("Content-Type", mediaType)
	c.Header("Content-Disposition", `attachment; filename="`+filename+`"`)
	c.Status(http.StatusOK)
}

// SpoolTable is WriteTable of rows that are still to be read.
func SpoolTable[T any](c *gin.Context, filename string, columns []TableColumn[T], o TableOptions,
	rows func(yield func(T) error) error) error {
	return SendSpooled(c, csvMediaType, filename, func(w io.Writer) error {
		t := NewTable(w, columns, o)
		if err := rows(t.Row); err != nil {
			return err
		}
		return t.End()
	})
}

// unnamedFile is a file that is gone when it is closed.
func unnamedFile() (*os.File, error) {
	f, err := os.CreateTemp("", "askwright-spool-")
	if err != nil {
		return nil, spoolError(err)
	}
	if err := os.Remove(f.Name()); err != nil {
		f.Close()
		return nil, spoolError(err)
	}
	return f, nil
}

// pieceBytes is how much a client must take within Limits.PieceTimeout.
const pieceBytes = 64 << 10

// Paced cuts off clients that do not read what they asked for: each piece of an
// answer must be taken in time, and all of it within the longest time.
func Paced(h http.Handler, l Limits) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		until := time.Now().Add(l.LongTimeout + l.Timeout) // the clock of the connection
		h.ServeHTTP(&pacedWriter{w, http.NewResponseController(w), l.PieceTimeout, until}, r)
	})
}

type pacedWriter struct {
	http.ResponseWriter
	control *http.ResponseController
	piece   time.Duration
	until   time.Time
}

// Write writes in pieces, each with a time of its own.
func (w *pacedWriter) Write(b []byte) (n int, err error) {
	for first := true; err == nil && (first || n < len(b)); first = false {
		deadline := time.Now().Add(w.piece)
		if w.until.Before(deadline) {
			deadline = w.until
		}
		// A writer without deadlines is one of a test.
		if err := w.control.SetWriteDeadline(deadline); err != nil && !errors.Is(err, http.ErrNotSupported) {
			return n, err
		}
		var done int
		done, err = w.ResponseWriter.Write(b[n:min(n+pieceBytes, len(b))])
		n += done
	}
	return n, err
}

// Flush sends what is buffered.
func (w *pacedWriter) Flush() { _ = w.control.Flush() } // one that cannot is a test's

// Unwrap is for http.ResponseController.
func (w *pacedWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }
