package api

import (
	"net"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
)

// hosts are the names that this server answers to, in lower case. A page of
// another site that has its own name resolve to this address (DNS rebinding) is
// not among them.
type hosts []string

// has reports whether a Host header, with or without a port, names one of them.
func (h hosts) has(header string) bool { return slices.Contains(h, bareHost(header)) }

func bareHost(header string) string {
	host, _, err := net.SplitHostPort(header)
	if err != nil {
		host = strings.Trim(header, "[]")
	}
	return strings.ToLower(strings.TrimSuffix(host, "."))
}

// isNear reports whether a Host header can be no name of another site: it is an
// address, or a name without a dot, which no site of the internet has.
func isNear(header string) bool {
	host := bareHost(header)
	return net.ParseIP(host) != nil || !strings.Contains(host, ".")
}

// checkHost refuses requests for names that are not this server's. Without any
// that are told every name will do: a key, or a cookie that is bound to its name,
// is needed anyhow. Health is told under any name.
func (s *Server) checkHost(c *gin.Context) {
	path := c.Request.URL.Path
	if len(s.hosts) == 0 || s.hosts.has(c.Request.Host) || path == "/healthz" || path == "/readyz" {
		return
	}
	s.Fail(c, web.Refuse(web.Misdirected, "this server does not answer to %q", web.Clip(bareHost(c.Request.Host), 60)))
}

// guardOps keeps what is for operators from pages of other sites: metrics and
// profiles take no key.
func (s *Server) guardOps(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		site := r.Header.Get("Sec-Fetch-Site")
		switch {
		case !isNear(r.Host) && !s.hosts.has(r.Host):
			http.Error(w, "this address does not answer to that name; list it in ASKWRIGHT_HOSTS", http.StatusMisdirectedRequest)
		case site == "cross-site" || site == "same-site":
			http.Error(w, "not for pages of other sites", http.StatusForbidden)
		default:
			h.ServeHTTP(w, r)
		}
	})
}
