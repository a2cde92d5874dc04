package board

import (
	"context"
	"crypto/sha256"
	"errors"
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/service"
)

// Form guards the handler of a form: it can be read.
func Form(h web.Handler) web.Handler {
	return func(c *gin.Context, a *service.Actor) error {
		if err := c.Request.ParseForm(); err != nil {
			return web.Refuse(web.Malformed, "the form cannot be read")
		}
		return h(c, a)
	}
}

// once does what a form asks for and goes where do says. Sent again, as a phone
// does on a slow line, the form records nothing and goes to the same place: each
// has a token of its own, which stands for the key that an API client makes. What
// fails is not kept.
func (s *Board) once(c *gin.Context, a *service.Actor, do func(context.Context) (to string, err error)) error {
	ctx, form := c.Request.Context(), c.Request.PostForm
	token := form.Get("token")
	if token == "" {
		to, err := do(ctx)
		if err == nil {
			c.Redirect(http.StatusSeeOther, to)
		}
		return err
	}
	request := service.OnceRequest{Operation: c.Request.Method + " " + c.Request.URL.Path, Key: web.Clip(token, 100), Sum: sha256.Sum256([]byte(form.Encode()))}
	kept, err := s.app.Recording.Once(ctx, a, request, func(ctx context.Context) (*service.OnceAnswer, error) {
		to, err := do(ctx)
		return &service.OnceAnswer{Status: http.StatusOK, Headers: map[string]string{"Location": to}, Body: []byte{}}, err
	})
	var wrong *service.InvalidError
	if errors.As(err, &wrong) && slices.ContainsFunc(wrong.Fields, func(f service.FieldError) bool { return f.Column == "Idempotency-Key" }) {
		return web.Refuse(web.Conflict, "this form was sent before with other values; open its page again to record something new")
	}
	if err == nil {
		c.Redirect(http.StatusSeeOther, kept.Headers["Location"])
	}
	return err
}
