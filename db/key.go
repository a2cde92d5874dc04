package db

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/service"
	"askwright/service/members"
)

// Authenticate finds the valid key with that hash, its member and group.
func (s *Store) Authenticate(ctx context.Context, group uuid.UUID, hash []byte, at time.Time) (*service.Actor, error) {
	a := service.Actor{Group: &service.Group{}}
	err := s.runOn(ctx, s.reserved, service.Tenant{Group: group}, []statement{{
		sql: "select " + expressions(groupFields) + `, k.key_id, k.parent_id is not null, k.scope, m.member_id, m.name
			from api_key k
			join member m using (group_id, member_id)
			join group_settings s using (group_id)
			join groups g using (group_id)
			where k.group_id = $1 and k.hash = $2 and k.revoked_at is null and (k.expires_at is null or k.expires_at > $3)`,
		args: []any{group, hash, at},
		read: one(append(places(groupFields, a.Group), &a.KeyID, &a.Session, &a.Scope, &a.MemberID, &a.Member)...),
	}})
	if err != nil {
		return nil, err
	}
	return &a, nil
}

// TouchKey notes when the key was last used.
func (s *Store) TouchKey(ctx context.Context, t service.Tenant, key uuid.UUID, at time.Time) error {
	return s.run(ctx, t, statement{
		sql:  "update api_key set last_used_at = $3 where group_id = $1 and key_id = $2",
		args: []any{t.Group, key, at},
	})
}

// changeKeys runs do in a transaction of the tenant. Keys change no answer about
// furniture: they wait for no turn to write and take no change number.
func (s *Store) changeKeys(ctx context.Context, t service.Tenant, do func(*writer) error) error {
	w := &writer{tenant: t}
	begin := func(tx pgx.Tx) error {
		w.tx = tx
		now := statement{sql: "select change_no from groups where group_id = $1", args: []any{t.Group}, read: one(&w.changeNo)}
		return send(ctx, tx, tenantIs(t), now)
	}
	if o, isOpen := opened(ctx, t); isOpen {
		return translate(pgx.BeginFunc(ctx, o.tx, func(tx pgx.Tx) error {
			if err := begin(tx); err != nil {
				return err
			}
			return do(w)
		}))
	}
	return inTransaction(ctx, s.pool, pgx.TxOptions{}, begin, func(pgx.Tx) error { return do(w) })
}

// ofOneKind selects a member's keys, or with $3 sessions, that are valid at $4.
const ofOneKind = `from api_key where group_id = $1 and member_id = $2 and (parent_id is not null) = $3
	and revoked_at is null and (expires_at is null or expires_at > $4)`

// CreateKey keeps a key under the hash of its secret.
func (s *Store) CreateKey(ctx context.Context, t service.Tenant, k members.Key, most int, hash []byte) error {
	isSession := k.ParentID != uuid.Nil
	return s.changeKeys(ctx, t, func(w *writer) error {
		// One after the other, so that two at once are not both the last one allowed.
		if err := w.execOne(ctx, "select from member where group_id = $1 and member_id = $2 for no key update",
			t.Group, k.MemberID); err != nil {
			return err
		}
		makeRoom := w.hasRoom
		if isSession {
			makeRoom = w.dropSessions
		}
		if err := makeRoom(ctx, k, most); err != nil {
			return err
		}
		if err := w.insertKey(ctx, k, hash); err != nil || isSession {
			return err
		}
		return w.note(ctx, "key created", k.ID, uuid.Nil, k)
	})
}

func (w *writer) insertKey(ctx context.Context, k members.Key, hash []byte) error {
	return w.execOne(ctx, `
		insert into api_key (group_id, key_id, member_id, hash, scope, label, created_at, expires_at, parent_id, made_by)
		select @group, @id, m.member_id, @hash, @scope, @label, @created_at, least(@expires_at, p.expires_at), p.key_id, @made_by
		from member m left join api_key p on p.group_id = @group and p.key_id = @parent
		where m.group_id = @group and m.member_id = @member and m.left_at is null
		and (@parent::uuid is null or p.revoked_at is null)`, pgx.StrictNamedArgs{
		"group":      w.tenant.Group,
		"id":         k.ID,
		"member":     k.MemberID,
		"hash":       hash,
		"scope":      k.Scope,
		"label":      k.Label,
		"created_at": k.CreatedAt,
		"expires_at": unlessZero(k.ExpiresAt),
		"parent":     unlessZero(k.ParentID),
		"made_by":    unlessZero(k.MadeByID),
	})
}

// dropSessions leaves room for one more session: the oldest end.
func (w *writer) dropSessions(ctx context.Context, k members.Key, most int) error {
	return w.exec(ctx, `delete from api_key where group_id = $1 and member_id = $2 and (parent_id is not null) = $3
		and key_id not in (select key_id `+ofOneKind+` order by created_at desc, key_id desc limit $5)`,
		w.tenant.Group, k.MemberID, true, k.CreatedAt, most-1)
}

// hasRoom refuses a key beyond so many that are valid; zero: any number.
func (w *writer) hasRoom(ctx context.Context, k members.Key, most int) error {
	if most == 0 {
		return nil
	}
	var valid int
	err := w.tx.QueryRow(ctx, "select count(*) "+ofOneKind, w.tenant.Group, k.MemberID, false, k.CreatedAt).Scan(&valid)
	if err != nil {
		return translate(err)
	}
	if valid >= most {
		return service.Refuse(service.ErrConflict,
			"there are %d valid keys already, and no more at once: revoke one that is not used", valid)
	}
	return nil
}

var keyFields = []field[members.Key]{
	{"k.key_id", func(k *members.Key) any { return &k.ID }},
	{"k.member_id", func(k *members.Key) any { return &k.MemberID }},
	{"m.name", func(k *members.Key) any { return &k.Member }},
	{"k.scope", func(k *members.Key) any { return &k.Scope }},
	{"k.label", func(k *members.Key) any { return &k.Label }},
	{"maker.name", func(k *members.Key) any { return blank(&k.MadeBy) }},
	{"k.created_at", func(k *members.Key) any { return &k.CreatedAt }},
	{"k.expires_at", func(k *members.Key) any { return blank(&k.ExpiresAt) }},
	{"k.revoked_at", func(k *members.Key) any { return blank(&k.RevokedAt) }},
	{"k.last_used_at", func(k *members.Key) any { return blank(&k.LastUsedAt) }},
}

// Keys lists the keys of a member, or of all with a zero member.
func (s *Store) Keys(ctx context.Context, t service.Tenant, member uuid.UUID) ([]members.Key, error) {
	var keys []members.Key
	err := s.run(ctx, t, statement{
		sql: "select " + expressions(keyFields) + ` from api_key k join member m using (group_id, member_id)
			left join member maker on maker.group_id = k.group_id and maker.member_id = k.made_by
			where k.group_id = $1 and ($2::uuid is null or k.member_id = $2) order by k.created_at, k.key_id`,
		args: []any{t.Group, unlessZero(member)}, read: collect(&keys, keyFields),
	})
	return keys, err
}

// RevokeKey ends a key of that member, or of anybody with a zero member, and
// the sessions that were opened with it.
func (s *Store) RevokeKey(ctx context.Context, t service.Tenant, key, member uuid.UUID, at time.Time) error {
	return s.changeKeys(ctx, t, func(w *writer) error {
		if err := w.execOne(ctx, `update api_key set revoked_at = coalesce(revoked_at, $4)
			where group_id = $1 and key_id = $2 and ($3::uuid is null or member_id = $3)`,
			t.Group, key, unlessZero(member), at); err != nil {
			return err
		}
		if err := w.exec(ctx, "update api_key set revoked_at = coalesce(revoked_at, $3) where group_id = $1 and parent_id = $2",
			t.Group, key, at); err != nil {
			return err
		}
		return w.note(ctx, "key revoked", key, uuid.Nil, nil)
	})
}
