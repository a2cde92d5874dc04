package web

import (
	"encoding/json"
	"fmt"
	"net/http"

	"github.com/gin-gonic/gin"

	"askwright/service"
)

// Handler answers a request for an actor; nil where no key is needed. What it
// returns becomes a problem document.
type Handler func(c *gin.Context, a *service.Actor) error

// NoKey is the scope of routes that need no key.
const (
	NoKey = ""
)

// Answer writes a value as JSON. It is written into memory first, so that a
// failure can still become a problem.
func Answer(c *gin.Context, status int, v any) error {
	if err := WantJSON(c); err != nil && c.Request.Method == http.MethodGet {
		return err
	}
	body, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("write the answer: %w", err)
	}
	c.Header("Content-Type", "application/json; charset=utf-8")
	c.Status(status)
	_, err = c.Writer.Write(body)
	return err
}

// AnswerTagged is answer for a resource whose tag is the hash of its body.
func AnswerTagged(c *gin.Context, v any) error {
	if NotModified(c, HashTag(v)) {
		return nil
	}
	return Answer(c, http.StatusOK, v)
}

// NoContent answers 204.
func NoContent(c *gin.Context) error {
	c.Status(http.StatusNoContent)
	c.Writer.WriteHeaderNow()
	return nil
}
