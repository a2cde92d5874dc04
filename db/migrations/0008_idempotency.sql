-- Answers to requests that a client may send again: kept in the transaction of
-- their effect, under a key of the client's making.

create table idempotency (
    group_id  uuid        not null,
    member_id uuid        not null,
    operation text        not null,
    key       text        not null,
    sum       bytea       not null,
    made_at   timestamptz not null,
    status    integer,
    headers   jsonb       not null default '{}',
    body      bytea,
    constraint idempotency_pkey primary key (group_id, member_id, operation, key),
    constraint idempotency_member foreign key (group_id, member_id) references member on delete cascade,
    constraint key_is_short check (length(key) between 1 and 255),
    constraint sum_is_sha256 check (length(sum) = 32),
    constraint status_is_success check (status between 200 and 299)
);
comment on column idempotency.operation is 'Method and path.';
comment on column idempotency.sum is 'SHA-256 of the query, the kind of the body and the body.';
comment on column idempotency.status is 'Null only within the transaction that works on it.';
create index idempotency_by_age on idempotency (group_id, made_at);

do $$
declare
    here constant text := 'group_id = nullif(current_setting(''app.group_id'', true), '''')::uuid';
    mine constant text := 'member_id = nullif(current_setting(''app.member_id'', true), '''')::uuid';
begin
    alter table idempotency enable row level security;
    alter table idempotency force row level security;
    create policy of_the_owner on idempotency to askwright_owner using (true) with check (true);
    execute format('create policy of_the_group on idempotency to askwright_app using (%s and %s) with check (%s and %s)', here, mine, here, mine);
end $$;

grant select, insert, update, delete on idempotency to askwright_app;
