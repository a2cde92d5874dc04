-- A member gets in by an invitation: whoever invites never sees the key, and so
-- never what only its holder may see.

create table invitation (
    group_id      uuid        not null,
    invitation_id uuid        not null,
    hash          bytea       not null,
    name          text        not null,
    scope         text        not null,
    made_by       uuid,
    created_at    timestamptz not null,
    expires_at    timestamptz not null,
    revoked_at    timestamptz,
    redeemed_at   timestamptz,
    key_id        uuid,
    constraint invitation_pkey primary key (group_id, invitation_id),
    constraint invitation_group foreign key (group_id) references groups on delete cascade,
    constraint invitation_maker foreign key (group_id, made_by) references member on delete cascade,
    constraint invitation_key foreign key (group_id, key_id) references api_key on delete cascade,
    constraint invitation_hash_once unique (group_id, hash),
    constraint invitation_hash_is_sha256 check (length(hash) = 32),
    constraint invitation_scope_known check (scope in ('read', 'write', 'admin')),
    constraint invitation_named check (name <> ''),
    constraint redeemed_has_key check ((redeemed_at is null) = (key_id is null))
);
comment on column invitation.hash is 'SHA-256 of the whole invitation, which holds 256 random bits.';
comment on column invitation.name is 'Of the member that it makes.';
comment on column invitation.made_by is 'The member who invites; null: who runs the server.';
comment on column invitation.key_id is 'The key that it was redeemed for. Until that is used it can be redeemed again, for another one.';
create index invitation_by_maker on invitation (group_id, made_by);
create index invitation_by_key on invitation (group_id, key_id);

do $$
declare
    here constant text := 'group_id = nullif(current_setting(''app.group_id'', true), '''')::uuid';
begin
    alter table invitation enable row level security;
    alter table invitation force row level security;
    create policy of_the_owner on invitation to askwright_owner using (true) with check (true);
    execute format('create policy of_the_group on invitation to askwright_app using (%s) with check (%s)', here, here);
end $$;

grant select, insert, update, delete on invitation to askwright_app;
