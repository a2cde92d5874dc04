package web

import (
	"errors"
	"fmt"
	"io"
	"mime"
	"os"

	"github.com/gin-gonic/gin"

	"askwright/service"
)

// MediaTypeOf is the type of the body, without its parameters.
func MediaTypeOf(c *gin.Context) string {
	t, _, err := mime.ParseMediaType(c.GetHeader("Content-Type"))
	if err != nil {
		return ""
	}
	return t
}

// Spool keeps a body in a file without a name, so that a slow client holds no
// transaction and a transaction can read it again.
func Spool(body io.Reader) (*os.File, error) {
	if f, ok := body.(*os.File); ok {
		return f, nil // it was, to be repeated
	}
	f, err := unnamedFile()
	if err != nil {
		return nil, err
	}
	if _, err := io.Copy(f, body); err != nil {
		f.Close()
		return nil, spoolError(err)
	}
	return f, nil
}

// spoolError tells our own full or missing folder from a body that broke off.
func spoolError(err error) error {
	var path *os.PathError
	if errors.As(err, &path) {
		return fmt.Errorf("keep a file for a moment: %w: %w", service.ErrUnavailable, err)
	}
	return bodyError(err)
}
