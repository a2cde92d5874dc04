-- What state each listing was last seen in, and who is told of changes: the
-- endpoints of webhooks with their queue. All is written beside the group's turn
-- to write and raises no change number: it changes nothing that is on file.

create table listing_state (
    group_id   uuid        not null,
    listing_id uuid        not null,
    state      text        not null,
    action     text        not null default '',
    since      timestamptz not null,
    updated_at timestamptz not null,
    constraint listing_state_pkey primary key (group_id, listing_id),
    constraint listing_state_listing foreign key (group_id, listing_id) references listing on delete cascade,
    constraint state_known check (state in ('stale', 'slow', 'fresh', 'paused', 'ended')),
    constraint updated_in_state check (updated_at >= since)
);
comment on table listing_state is 'The state of each listing that was ever open, as it was last noted.';
comment on column listing_state.action is 'The best remedy by then.';
comment on column listing_state.since is 'When the state was noted; updated_at: when the state or the remedy was.';

create table webhook (
    group_id      uuid        not null,
    webhook_id    uuid        not null,
    member_id     uuid        not null,
    url           text        not null,
    label         text        not null default '',
    events        text[]      not null,
    secret        bytea       not null,
    created_at    timestamptz not null,
    busy_until    timestamptz,
    failing_since timestamptz,
    disabled_at   timestamptz,
    note          text        not null default '',
    constraint webhook_pkey primary key (group_id, webhook_id),
    constraint webhook_member foreign key (group_id, member_id) references member on delete cascade,
    constraint url_is_https check (url like 'https://%'),
    constraint events_some check (cardinality(events) > 0),
    constraint secret_is_long check (length(secret) between 24 and 64)
);
comment on column webhook.member_id is 'Who made it: it is told what this member may see.';
comment on column webhook.secret is 'The key of the signatures: it must be used, so that no hash of it would do.';
comment on column webhook.busy_until is 'Until then one process has it, or it is left alone after a failure.';
comment on column webhook.failing_since is 'The first failure after the last success.';
comment on column webhook.note is 'Why it was disabled.';

create table webhook_delivery (
    group_id     uuid        not null,
    delivery_id  uuid        not null,
    webhook_id   uuid        not null,
    owner_id     uuid,
    listing_id   uuid,
    event        text        not null,
    payload      text        not null,
    created_at   timestamptz not null,
    next_at      timestamptz,
    attempts     integer     not null default 0,
    tried_at     timestamptz,
    status       integer,
    error        text        not null default '',
    delivered_at timestamptz,
    constraint webhook_delivery_pkey primary key (group_id, delivery_id),
    constraint webhook_delivery_webhook foreign key (group_id, webhook_id) references webhook on delete cascade,
    constraint delivered_is_over check (delivered_at is null or next_at is null)
);
comment on table webhook_delivery is 'Written in the transaction of what it tells of, so that it is told once.';
comment on column webhook_delivery.owner_id is 'Set where the payload holds what only this member may see.';
comment on column webhook_delivery.next_at is 'When it is tried next; null: it was delivered, or given up.';
comment on column webhook_delivery.status is 'Of the last answer; null: there was none.';
create index webhook_delivery_due on webhook_delivery (group_id, webhook_id, created_at, delivery_id) where next_at is not null;
create index webhook_delivery_list on webhook_delivery (group_id, webhook_id, created_at, delivery_id);

do $$
declare
    t text;
    here constant text := 'group_id = nullif(current_setting(''app.group_id'', true), '''')::uuid';
    mine constant text := 'nullif(current_setting(''app.member_id'', true), '''')::uuid';
    extra text;
begin
    foreach t in array array['listing_state', 'webhook', 'webhook_delivery'] loop
        extra := case t when 'webhook_delivery' then ' and (owner_id is null or owner_id = ' || mine || ')' else '' end;
        execute format('alter table %I enable row level security', t);
        execute format('alter table %I force row level security', t);
        execute format('create policy of_the_owner on %I to askwright_owner using (true) with check (true)', t);
        execute format('create policy of_the_group on %I to askwright_app using (%s) with check (%s)', t, here || extra, here || extra);
    end loop;
end $$;

grant select, insert, update, delete on listing_state, webhook, webhook_delivery to askwright_app;
