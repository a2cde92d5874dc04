package db

import (
	"context"
	"time"

	"github.com/google/uuid"

	"askwright/service"
	"askwright/service/members"
)

// Authenticate finds the valid key with that hash, its member and group.
func (s *Store) Authenticate(ctx context.Context, group uuid.UUID, hash []byte, at time.Time) (*service.Actor, error) {
	var r groupRow
	var a service.Actor
	err := s.runOn(ctx, s.reserved, service.Tenant{Group: group}, []statement{{
		sql: "select " + groupColumns + `, k.key_id, k.scope, m.member_id, m.name
			from api_key k
			join member m using (group_id, member_id)
			join group_settings s using (group_id)
			join groups g using (group_id)
			where k.group_id = $1 and k.hash = $2 and k.revoked_at is null and (k.expires_at is null or k.expires_at > $3)`,
		args: []any{group, hash, at},
		read: one(append(r.fields(), &a.KeyID, &a.Scope, &a.MemberID, &a.Member)...),
	}})
	if err != nil {
		return nil, err
	}
	a.Group, err = r.group()
	return &a, err
}

// TouchKey notes when the key was last used.
func (s *Store) TouchKey(ctx context.Context, t service.Tenant, key uuid.UUID, at time.Time) error {
	return s.run(ctx, t, statement{
		sql:  "update api_key set last_used_at = $3 where group_id = $1 and key_id = $2",
		args: []any{t.Group, key, at},
	})
}

// CreateKey keeps a key under the hash of its secret.
func (s *Store) CreateKey(ctx context.Context, t service.Tenant, k members.Key, hash []byte) error {
	return s.write(ctx, t, func(w *writer) error {
		if err := w.execOne(ctx, `
			insert into api_key (group_id, key_id, member_id, hash, scope, label, created_at, expires_at, parent_id)
			select $1, $2, m.member_id, $4, $5, $6, $7, least($8, p.expires_at), p.key_id
			from member m left join api_key p on p.group_id = $1 and p.key_id = $9
			where m.group_id = $1 and m.member_id = $3 and m.left_at is null and ($9::uuid is null or p.revoked_at is null)`,
			t.Group, k.ID, k.MemberID, hash, k.Scope, k.Label, k.CreatedAt, timeArg(k.ExpiresAt), uuidArg(k.ParentID)); err != nil {
			return err
		}
		return w.audit(ctx, "key created", k.ID, uuid.Nil, k)
	})
}

// Keys lists the keys of a member, or of all with a zero member.
func (s *Store) Keys(ctx context.Context, t service.Tenant, member uuid.UUID) ([]members.Key, error) {
	type row struct {
		KeyID      uuid.UUID
		MemberID   uuid.UUID
		Member     string
		Scope      string
		Label      string
		CreatedAt  time.Time
		ExpiresAt  *time.Time
		RevokedAt  *time.Time
		LastUsedAt *time.Time
	}
	var keys []members.Key
	err := s.run(ctx, t, statement{
		sql: `select k.key_id, k.member_id, m.name as member, k.scope, k.label, k.created_at, k.expires_at, k.revoked_at, k.last_used_at
			from api_key k join member m using (group_id, member_id)
			where k.group_id = $1 and ($2::uuid is null or k.member_id = $2) order by k.created_at, k.key_id`,
		args: []any{t.Group, uuidArg(member)},
		read: collect(&keys, func(r *row) (members.Key, error) {
			return members.Key{
				ID: r.KeyID, MemberID: r.MemberID, Member: r.Member, Scope: r.Scope, Label: r.Label, CreatedAt: r.CreatedAt,
				ExpiresAt: timeOf(r.ExpiresAt), RevokedAt: timeOf(r.RevokedAt), LastUsedAt: timeOf(r.LastUsedAt),
			}, nil
		}),
	})
	return keys, err
}

// RevokeKey ends a key of that member, or of anybody with a zero member, and
// the sessions that were opened with it.
func (s *Store) RevokeKey(ctx context.Context, t service.Tenant, key, member uuid.UUID, at time.Time) error {
	return s.write(ctx, t, func(w *writer) error {
		if err := w.execOne(ctx, `update api_key set revoked_at = coalesce(revoked_at, $4)
			where group_id = $1 and key_id = $2 and ($3::uuid is null or member_id = $3)`, t.Group, key, uuidArg(member), at); err != nil {
			return err
		}
		if err := w.exec(ctx, "update api_key set revoked_at = coalesce(revoked_at, $3) where group_id = $1 and parent_id = $2",
			t.Group, key, at); err != nil {
			return err
		}
		return w.audit(ctx, "key revoked", key, uuid.Nil, nil)
	})
}

func uuidArg(id uuid.UUID) *uuid.UUID {
	if id == uuid.Nil {
		return nil
	}
	return &id
}
