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
	f, err := os.CreateTemp("", "askwright-import-")
	if err != nil {
		return nil, spoolError(err)
	}
	err = os.Remove(f.Name())
	if err == nil {
		_, err = io.Copy(f, body)
	}
	if err == nil {
		return f, nil
	}
	f.Close()
	return nil, spoolError(err)
}

// spoolError tells our own full or missing folder from a body that broke off.
func spoolError(err error) error {
	var path *os.PathError
	if errors.As(err, &path) {
		return fmt.Errorf("spool the import: %w: %w", service.ErrUnavailable, err)
	}
	return bodyError(err)
}
