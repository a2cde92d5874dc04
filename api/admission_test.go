package api

import (
	"fmt"
	"log/slog"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"
	"github.com/prometheus/client_golang/prometheus"

	"askwright/service"
	"askwright/service/app"
)

// Ten times the listings took ten times as long and weighed the same.
func TestLargeAnswersOfLargeGroupsWeighMore(t *testing.T) {
	t.Parallel()
	for size, want := range map[int]int{300_000: 3, 599_999: 3, 600_000: 4, 3_000_000: 28} {
		s := New(Options{
			App: &app.App{}, Logger: slog.New(slog.DiscardHandler), Registry: prometheus.NewRegistry(),
			Now: func() time.Time { return time.Unix(0, 0) }, // no token comes back
		})
		a := &service.Actor{Group: &service.Group{ID: uuid.UUID{1}}, MemberID: uuid.UUID{2}}
		ask := func(h func(*gin.Context, *service.Actor) error) (left int) {
			w := httptest.NewRecorder()
			c, _ := gin.CreateTestContext(w)
			c.Request = httptest.NewRequest("GET", "/v1/reviews", nil)
			if err := s.Limit(c, a, 1); err != nil {
				t.Fatal(err)
			}
			if _, err := fmt.Sscanf(w.Header().Get("RateLimit"), `"default";r=%d;`, &left); err != nil {
				t.Fatal(err)
			}
			if err := h(c, a); err != nil {
				t.Fatal(err)
			}
			return left
		}
		before := ask(s.weighed(3, func(c *gin.Context, _ *service.Actor) error {
			_, err := c.Writer.Write(make([]byte, size))
			return err
		}))
		after := ask(func(*gin.Context, *service.Actor) error { return nil })
		if got := before - after; got != want {
			t.Errorf("%d bytes weigh %d, want %d", size, got, want)
		}
	}
}
