package db

import (
	"context"
	"time"

	"github.com/google/uuid"

	"askwright/service"
	"askwright/service/members"
)

var invitationFields = []field[members.Invitation]{
	{"i.invitation_id", func(i *members.Invitation) any { return &i.ID }},
	{"i.name", func(i *members.Invitation) any { return &i.Name }},
	{"i.scope", func(i *members.Invitation) any { return &i.Scope }},
	{"maker.name", func(i *members.Invitation) any { return blank(&i.MadeBy) }},
	{"i.made_by", func(i *members.Invitation) any { return blank(&i.MadeByID) }},
	{"i.created_at", func(i *members.Invitation) any { return &i.CreatedAt }},
	{"i.expires_at", func(i *members.Invitation) any { return &i.ExpiresAt }},
	{"i.revoked_at", func(i *members.Invitation) any { return blank(&i.RevokedAt) }},
	{"i.redeemed_at", func(i *members.Invitation) any { return blank(&i.RedeemedAt) }},
	{"k.key_id", func(i *members.Invitation) any { return blank(&i.KeyID) }},
	{"k.member_id", func(i *members.Invitation) any { return blank(&i.MemberID) }},
}

var selectInvitations = "select " + expressions(invitationFields) + ` from invitation i
	left join member maker on maker.group_id = i.group_id and maker.member_id = i.made_by
	left join api_key k on k.group_id = i.group_id and k.key_id = i.key_id
	where i.group_id = $1`

// CreateInvitation keeps an invitation under the hash of its text.
func (s *Store) CreateInvitation(ctx context.Context, t service.Tenant, i members.Invitation, most int, expiredBefore time.Time, hash []byte) error {
	return s.changeKeys(ctx, t, func(w *writer) error {
		if err := w.exec(ctx, "delete from invitation where group_id = $1 and expires_at < $2", t.Group, expiredBefore); err != nil {
			return err
		}
		var isTaken bool
		var open int
		err := w.tx.QueryRow(ctx, `select exists (select from member where group_id = $1 and lower(name) = lower($2)),
			(select count(*) from invitation where group_id = $1 and revoked_at is null and redeemed_at is null and expires_at > $3)`,
			t.Group, i.Name, i.CreatedAt).Scan(&isTaken, &open)
		switch {
		case err != nil:
			return translate(err)
		case isTaken:
			return service.Refuse(service.ErrConflict, "there is already a member named %s", i.Name)
		case open >= most:
			return service.Refuse(service.ErrConflict, "there are %d open invitations, and no more at once: revoke one that is not needed", open)
		}
		if err := w.exec(ctx, `insert into invitation (group_id, invitation_id, hash, name, scope, made_by, created_at, expires_at)
			values ($1, $2, $3, $4, $5, $6, $7, $8)`,
			t.Group, i.ID, hash, i.Name, i.Scope, unlessZero(i.MadeByID), i.CreatedAt, i.ExpiresAt); err != nil {
			return err
		}
		return w.note(ctx, "member invited", i.ID, uuid.Nil, i)
	})
}

// Invitations lists those of the group, the newest first.
func (s *Store) Invitations(ctx context.Context, t service.Tenant) ([]members.Invitation, error) {
	var found []members.Invitation
	err := s.run(ctx, t, statement{
		sql:  selectInvitations + " order by i.created_at desc, i.invitation_id desc",
		args: []any{t.Group}, read: collect(&found, invitationFields),
	})
	return found, err
}

// RevokeInvitation ends one that was not redeemed.
func (s *Store) RevokeInvitation(ctx context.Context, t service.Tenant, id uuid.UUID, at time.Time) error {
	return s.changeKeys(ctx, t, func(w *writer) error {
		var isRedeemed bool
		err := w.tx.QueryRow(ctx, `update invitation set revoked_at = case when redeemed_at is null then coalesce(revoked_at, $3) end
			where group_id = $1 and invitation_id = $2 returning redeemed_at is not null`, t.Group, id, at).Scan(&isRedeemed)
		if err != nil {
			return translate(err)
		}
		if isRedeemed {
			return service.Refuse(service.ErrConflict, "it was redeemed: end the membership instead (DELETE /v1/members/{id})")
		}
		return w.note(ctx, "invitation revoked", id, uuid.Nil, nil)
	})
}

// notUsed tells that the key k that an invitation was redeemed for is nobody's
// yet: neither it nor a session that it opened was used.
const notUsed = `k.revoked_at is null and k.last_used_at is null and not exists (
	select from api_key x where x.group_id = k.group_id and x.parent_id = k.key_id and x.last_used_at is not null)`

// RedeemInvitation makes a member and their first key.
func (s *Store) RedeemInvitation(ctx context.Context, t service.Tenant, invited []byte, issue func(members.Invitation) (members.Key, []byte)) error {
	return s.write(ctx, t, func(w *writer) error {
		var i members.Invitation
		find := statement{
			sql:  selectInvitations + " and i.hash = $2 and i.revoked_at is null and i.expires_at > $3 and (k.key_id is null or " + notUsed + ")",
			args: []any{t.Group, invited, t.At}, read: one(places(invitationFields, &i)...),
		}
		if err := send(ctx, w.tx, find); err != nil {
			return translate(err)
		}
		before := i.KeyID
		if before == uuid.Nil {
			i.MemberID = t.Member
			insert := insertMember(t.Group, service.Member{ID: i.MemberID, Name: i.Name, JoinedAt: t.At})
			if err := w.exec(ctx, insert.sql, insert.args...); err != nil {
				return err
			}
		}
		w.tenant.Member = i.MemberID
		k, hash := issue(i)
		if err := w.insertKey(ctx, k, hash); err != nil {
			return err
		}
		if err := w.execOne(ctx, `update invitation set redeemed_at = coalesce(redeemed_at, $3), key_id = $4
			where group_id = $1 and invitation_id = $2`, t.Group, i.ID, t.At, k.ID); err != nil {
			return err
		}
		// What nobody used goes without a trace but the audit's.
		if err := w.exec(ctx, "delete from api_key where group_id = $1 and key_id = $2", t.Group, unlessZero(before)); err != nil {
			return err
		}
		return w.audit(ctx, "invitation redeemed", i.ID, uuid.Nil, k)
	})
}
