package main

import (
	"context"
	"flag"
	"fmt"

	"askwright/api/wire"
	"askwright/service"
	"askwright/service/app"
)

// inviteMember prints an invitation, which whoever it is for redeems: so the
// key of a new member is never on the screen of another person.
func inviteMember(ctx context.Context, p *program, args []string) error {
	flags := flag.NewFlagSet("member invite", flag.ContinueOnError)
	group := flags.String("group", "", "id of the group")
	scope := flags.String("scope", service.ScopeWrite, "read, write or admin")
	name, err := parse(flags, args)
	if err != nil {
		return err
	}
	id, err := groupID(*group)
	if err != nil {
		return err
	}
	return withService(ctx, p, func(s *app.App) error {
		operators, err := s.Members.Operators(ctx, id)
		if err != nil {
			return err
		}
		i, text, err := s.Members.Invite(ctx, operators[0], name, *scope)
		if err != nil {
			return err
		}
		fmt.Fprintf(p.out, "%s can redeem this until %s, on the page %s of this server:\n%s\n",
			i.Name, i.ExpiresAt.Format("2006-01-02 15:04 MST"), wire.InvitationPath("…"), text)
		return nil
	})
}
