package api

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	swaggerfiles "github.com/swaggo/files"
	ginswagger "github.com/swaggo/gin-swagger"

	"askwright/api/web"
	"askwright/docs"
	"askwright/service"
)

// Root says what this is.
type Root struct {
	Name    string `json:"name" example:"askwright"`
	Build   string `json:"build"`
	Docs    string `json:"docs" example:"/docs/index.html"`
	OpenAPI string `json:"openapi" example:"/openapi.json"`
}

// getRoot says where to read on.
//
//	@Summary	What this is
//	@Tags		about
//	@Success	200	{object}	Root
//	@Router		/ [get]
func (s *Server) getRoot(c *gin.Context, _ *service.Actor) error {
	return web.Answer(c, http.StatusOK, Root{Name: "askwright", Build: s.build, Docs: "/docs/index.html", OpenAPI: "/openapi.json"})
}

// getSecurity says whom to tell of a vulnerability, as RFC 9116 has it. What it
// says holds for half a year; the RFC wants less than a year.
//
//	@Summary	Whom to tell of a vulnerability
//	@Tags		about
//	@Produce	plain
//	@Success	200
//	@Failure	404	{object}	web.Problem	"the operator names nobody"
//	@Router		/.well-known/security.txt [get]
func (s *Server) getSecurity(c *gin.Context, _ *service.Actor) error {
	if s.security == "" {
		return web.Refuse(web.NotFound, "who runs this server names nobody for it (ASKWRIGHT_SECURITY_CONTACT)")
	}
	expires := s.now().UTC().AddDate(0, 6, 0).Truncate(24 * time.Hour)
	c.Header("Cache-Control", "public, max-age=86400")
	c.String(http.StatusOK, "Contact: %s\r\nExpires: %s\r\nPreferred-Languages: en\r\n", s.security, expires.Format(time.RFC3339))
	return nil
}

// Health is alive or not.
type Health struct {
	Status string `json:"status" example:"ok"`
}

// getHealth says that the program runs.
//
//	@Summary	Alive
//	@Tags		about
//	@Success	200	{object}	Health
//	@Router		/healthz [get]
func (s *Server) getHealth(c *gin.Context, _ *service.Actor) error {
	return web.Answer(c, http.StatusOK, Health{Status: "ok"})
}

const readyTimeout = 2 * time.Second

// getReadiness says whether requests can be served: one query, in time.
//
//	@Summary	Ready to serve
//	@Tags		about
//	@Success	200	{object}	Health
//	@Failure	503	{object}	web.Problem	"not ready"
//	@Router		/readyz [get]
func (s *Server) getReadiness(c *gin.Context, _ *service.Actor) error {
	if err := s.checkReady(c.Request.Context()); err != nil {
		return fmt.Errorf("%w: %w", web.Refuse(web.Unavailable, "the database does not answer"), err)
	}
	return web.Answer(c, http.StatusOK, Health{Status: "ok"})
}

func (s *Server) checkReady(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, readyTimeout)
	defer cancel()
	return s.ready(ctx)
}

// getOpenAPI answers with the description of all routes.
//
//	@Summary		This description
//	@Description	/openapi-3.0.json has the same in OpenAPI 3.0.3, for generators that do not read 3.1.
//	@Tags			about
//	@Success		200	{object}	object
//	@Router			/openapi.json [get]
//	@Router			/openapi-3.0.json [get]
func (s *Server) getOpenAPI(c *gin.Context, _ *service.Actor) error {
	description := docs.OpenAPI
	if c.FullPath() == "/openapi-3.0.json" {
		description = docs.OpenAPI30
	}
	if web.NotModified(c, web.HashTag(description)) {
		return nil
	}
	c.Data(http.StatusOK, "application/json", description)
	return nil
}

var docFiles = []string{
	"index.html", "index.css", "swagger-initializer.js", "favicon-16x16.png", "favicon-32x32.png", "swagger-ui.css",
	"swagger-ui-bundle.js", "swagger-ui-standalone-preset.js",
}

// getDocs shows the description as a page. Only the page's own files are
// passed on: the library takes its prefix from the first address it sees.
//
//	@Summary	The description as a page
//	@Tags		about
//	@Param		file	path	string	true	"index.html"
//	@Produce	html
//	@Success	200
//	@Failure	404	{object}	web.Problem	"no such file"
//	@Router		/docs/{file} [get]
func (s *Server) getDocs() web.Handler {
	show := ginswagger.WrapHandler(swaggerfiles.Handler, ginswagger.URL("/openapi.json"))
	return func(c *gin.Context, _ *service.Actor) error {
		name := strings.TrimPrefix(c.Param("file"), "/")
		if name == "" {
			c.Redirect(http.StatusFound, "/docs/index.html")
			return nil
		}
		if !slices.Contains(docFiles, name) {
			return web.Refuse(web.NotFound, "there is no such file; see /docs/index.html")
		}
		r := c.Request.Clone(c.Request.Context())
		r.Method, r.RequestURI = http.MethodGet, "/docs/"+name
		c.Request = r
		c.Header("Content-Security-Policy", "default-src 'self'; img-src 'self' data:; style-src 'self' 'unsafe-inline'; frame-ancestors 'none'")
		show(c)
		return nil
	}
}

// listProblems documents the kinds of problems.
//
//	@Summary	The kinds of problems
//	@Tags		about
//	@Param		query	query	web.TableQuery	false	"of CSV"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200	{object}	ProblemPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Router		/problems [get]
//	@Router		/problems.csv [get]
func (s *Server) listProblems(web.Request, web.TableQuery) ([]web.ProblemType, error) {
	return web.Each(web.ProblemTypes, func(t *web.ProblemType) web.ProblemType { return *t }), nil
}

// getProblem documents one.
//
//	@Summary	A kind of problem
//	@Tags		about
//	@Param		name	path		string	true	"name"
//	@Success	200		{object}	web.ProblemType
//	@Failure	404		{object}	web.Problem	"no such kind"
//	@Router		/problems/{name} [get]
func (s *Server) getProblem(c *gin.Context, _ *service.Actor) error {
	t, ok := web.ProblemTypeByName(c.Param("name"))
	if !ok {
		return web.Refuse(web.NotFound, "there is no kind of problem with that name; see /problems")
	}
	return web.AnswerTagged(c, t)
}

// promLogger passes what the metrics handler complains about to the log.
type promLogger struct{ s *Server }

// Println implements promhttp.Logger.
func (l promLogger) Println(v ...any) { l.s.logger.Warn("metrics", "problem", v) }

// ProblemPage is the kinds of problems.
type ProblemPage struct {
	Items []web.ProblemType `json:"items"`
	Next  *string           `json:"next"` // null: the list is whole
}

// ProblemColumns are the columns of the kinds of problems.
var ProblemColumns = web.ColumnsOf[web.ProblemType](`
	name title status about`)
