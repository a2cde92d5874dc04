package web

import (
	"fmt"
	"math"
	"net/http"
	"strconv"
	"sync"
	"time"

	"github.com/gin-gonic/gin"
	"golang.org/x/time/rate"

	"askwright/service"
)

// Limits bound what a client may ask for. Zero fields take the defaults.
type Limits struct {
	BodyBytes         int64         // of a request; default 8 MB
	ImportBytes       int64         // of an import; default 32 MB
	ImportRows        int           // default 50,000
	RequestsPerMinute int           // of one member, a batch counting more; default 600
	FailuresPerMinute int           // of authentication, from one address; default 30
	Timeout           time.Duration // of a request; default 30 s
	LongTimeout       time.Duration // of an import or an export; default 4 min
	PieceTimeout      time.Duration // in which a client must take 64 kB of an answer; default 20 s
}

// WithDefaults fills in what is zero.
func (l Limits) WithDefaults() Limits {
	if l.BodyBytes == 0 {
		l.BodyBytes = 8 << 20
	}
	if l.ImportBytes == 0 {
		l.ImportBytes = 32 << 20
	}
	if l.ImportRows == 0 {
		l.ImportRows = 50_000
	}
	if l.RequestsPerMinute == 0 {
		l.RequestsPerMinute = 600
	}
	if l.FailuresPerMinute == 0 {
		l.FailuresPerMinute = 30
	}
	if l.Timeout == 0 {
		l.Timeout = 30 * time.Second
	}
	if l.LongTimeout == 0 {
		l.LongTimeout = 4 * time.Minute
	}
	if l.PieceTimeout == 0 {
		l.PieceTimeout = 20 * time.Second
	}
	return l
}

// What a request weighs beside its own 1.
const (
	SubjectsPerUnit = 10
	RowsPerUnit     = 100
)

// limiters holds a token bucket for each member or address. They live in this
// process: replicas each allow the full rate.
type limiters struct {
	perMinute int
	now       func() time.Time

	mu     sync.Mutex
	bucket map[string]*rate.Limiter
}

func newLimiters(perMinute int, now func() time.Time) *limiters {
	return &limiters{perMinute: perMinute, now: now, bucket: make(map[string]*rate.Limiter)}
}

func (l *limiters) of(who string) *rate.Limiter {
	l.mu.Lock()
	defer l.mu.Unlock()
	b, ok := l.bucket[who]
	if !ok {
		const most = 10_000
		if len(l.bucket) >= most {
			l.dropFull()
		}
		if len(l.bucket) >= most {
			clear(l.bucket)
		}
		b = rate.NewLimiter(rate.Limit(float64(l.perMinute)/60), l.perMinute)
		l.bucket[who] = b
	}
	return b
}

// dropFull forgets the buckets that are full again: they say nothing.
func (l *limiters) dropFull() {
	now := l.now()
	for who, b := range l.bucket {
		if b.TokensAt(now) >= float64(l.perMinute) {
			delete(l.bucket, who)
		}
	}
}

// take takes units at once, or says after how many seconds there will be enough.
func (l *limiters) take(who string, units int) (wait int, ok bool) {
	b, now := l.of(who), l.now()
	units = min(units, l.perMinute)
	if b.AllowN(now, units) {
		return 0, true
	}
	missing := float64(units) - b.TokensAt(now)
	return int(math.Ceil(missing / float64(b.Limit()))), false
}

// Owe books units afterwards; the next requests wait for them.
func (l *limiters) Owe(who string, units int) {
	l.of(who).ReserveN(l.now(), min(units, l.perMinute))
}

// bucketOf is whom requests are booked on: the member, who can make any number
// of keys.
func bucketOf(a *service.Actor) string { return a.Group.ID.String() + a.MemberID.String() }

// Limit books a request on its member and tells how much is left.
func (s *Kit) Limit(c *gin.Context, a *service.Actor, units int) error {
	who := bucketOf(a)
	wait, ok := s.requests.take(who, units)
	left := max(0, int(s.requests.of(who).TokensAt(s.now())))
	full := int(math.Ceil(float64(s.limits.RequestsPerMinute-left) / float64(s.limits.RequestsPerMinute) * 60))
	c.Header("RateLimit-Policy", fmt.Sprintf(`"default";q=%d;w=60`, s.limits.RequestsPerMinute))
	c.Header("RateLimit", fmt.Sprintf(`"default";r=%d;t=%d`, left, full))
	if ok {
		return nil
	}
	c.Header("Retry-After", strconv.Itoa(wait))
	return Refuse(TooMany, "a member may make %d requests a minute, with all keys together; wait %d seconds", s.limits.RequestsPerMinute, wait)
}

// CountFailure books a failed authentication on the client's address, or with
// no error an attempt without a key.
func (s *Kit) CountFailure(c *gin.Context, err error) error {
	wait, ok := s.failures.take(c.ClientIP(), 1)
	if ok {
		return err
	}
	c.Header("Retry-After", strconv.Itoa(wait))
	return Refuse(TooMany, "too many keys that are not valid, or invitations, came from this address; wait %d seconds", wait)
}

// LimitBody refuses at once what says that it is too large.
func LimitBody(c *gin.Context, most int64) error {
	if c.Request.ContentLength > most {
		return &http.MaxBytesError{Limit: most}
	}
	c.Request.Body = http.MaxBytesReader(c.Writer, c.Request.Body, most)
	return nil
}
