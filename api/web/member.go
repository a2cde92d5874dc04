package web

import (
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/service"
)

// MemberFilter reads which member is meant; zero: everybody.
func (s *Kit) MemberFilter(c *gin.Context, a *service.Actor, p *Params) (uuid.UUID, error) {
	return s.MemberNamed(Request{Context: c, Actor: a}, p.Text("member"))
}

// MemberNamed resolves me, an id or a name; zero: everybody.
func (s *Kit) MemberNamed(r Request, who string) (uuid.UUID, error) {
	switch who {
	case "":
		return uuid.Nil, nil
	case "me":
		return r.Actor.MemberID, nil
	}
	members, err := s.members.Members(r.Request.Context(), r.Actor)
	if err != nil {
		return uuid.Nil, err
	}
	for _, m := range members {
		if m.ID.String() == who || strings.EqualFold(m.Name, who) {
			return m.ID, nil
		}
	}
	return uuid.Nil, BadParameter("member", "nobody here is called %q; give me, an id or a name", Clip(who, 40))
}
