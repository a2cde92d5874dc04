-- Groups, members, keys; pieces and listings; events and the ledger.
-- Every table but schema_version belongs to a group: its keys begin with it
-- and row-level security is forced, for the owner too.

create table groups (
    group_id  uuid   not null,
    change_no bigint not null default 0,
    constraint groups_pkey primary key (group_id),
    constraint change_no_not_negative check (change_no >= 0)
);
comment on table groups is 'Nothing but the list of groups: readable in full, for background work.';
comment on column groups.change_no is 'Raised by every write of the group; its row is the group''s turn to write.';

create table group_settings (
    group_id         uuid        not null,
    name             text        not null,
    currency         text        not null,
    unit             text        not null,
    timezone         text        not null,
    date_order       text        not null default '',
    hour_value       bigint      not null default 0,
    space_price      bigint      not null default 0,
    minimum_profit   bigint      not null default 0,
    fee_rate         double precision not null,
    holding_rate     double precision not null,
    salvage_rate     double precision not null,
    horizon_days     integer     not null,
    flag_gain        double precision not null,
    refinish_options jsonb       not null default '[]',
    created_at       timestamptz not null,
    constraint group_settings_pkey primary key (group_id),
    constraint group_settings_group foreign key (group_id) references groups on delete cascade,
    constraint group_named check (name <> ''),
    constraint currency_is_code check (currency ~ '^[A-Z]{3}$'),
    constraint unit_known check (unit in ('in', 'cm')),
    constraint date_order_known check (date_order in ('', 'mdy', 'dmy')),
    constraint settings_not_negative check (hour_value >= 0 and space_price >= 0 and minimum_profit >= 0),
    constraint fee_rate_is_share check (fee_rate >= 0 and fee_rate < 1),
    constraint holding_rate_is_share check (holding_rate >= 0 and holding_rate <= 1),
    constraint salvage_rate_is_share check (salvage_rate >= 0 and salvage_rate <= 1),
    constraint horizon_positive check (horizon_days > 0)
);
comment on column group_settings.hour_value is 'Minor units of the currency, as all amounts.';
comment on column group_settings.space_price is 'Of one square foot (unit in) or metre (unit cm) of floor a month.';

create table member (
    group_id  uuid        not null,
    member_id uuid        not null,
    name      text        not null,
    joined_at timestamptz not null,
    left_at   timestamptz,
    constraint member_pkey primary key (group_id, member_id),
    constraint member_group foreign key (group_id) references groups on delete cascade,
    constraint member_named check (name <> '')
);
create unique index member_name_once on member (group_id, lower(name));

create table api_key (
    group_id     uuid        not null,
    key_id       uuid        not null,
    member_id    uuid        not null,
    hash         bytea       not null,
    scope        text        not null,
    label        text        not null default '',
    created_at   timestamptz not null,
    expires_at   timestamptz,
    revoked_at   timestamptz,
    last_used_at timestamptz,
    constraint api_key_pkey primary key (group_id, key_id),
    constraint api_key_member foreign key (group_id, member_id) references member on delete cascade,
    constraint api_key_hash_once unique (group_id, hash),
    constraint hash_is_sha256 check (length(hash) = 32),
    constraint scope_known check (scope in ('feed', 'read', 'write', 'admin'))
);
comment on column api_key.hash is 'SHA-256 of the whole key, which holds 256 random bits.';

create table piece (
    group_id  uuid not null,
    piece_id  uuid not null,
    member_id uuid not null,
    ref       text not null,
    constraint piece_pkey primary key (group_id, piece_id),
    constraint piece_owner foreign key (group_id, member_id) references member,
    constraint piece_ref_once unique (group_id, member_id, ref),
    constraint piece_named check (ref <> '')
);

create table listing (
    group_id        uuid   not null,
    listing_id      uuid   not null,
    piece_id        uuid   not null,
    member_id       uuid   not null,
    revision        bigint not null,
    change_no       bigint not null,
    ref             text   not null,
    source          text   not null,
    last_seen_on    date,
    stage           text,
    category        text   not null,
    set_size        integer,
    items           text   not null default '',
    width           numeric(9,4),
    depth           numeric(9,4),
    height          numeric(9,4),
    unit            text   not null,
    material        text   not null default '',
    wood            text   not null default '',
    style           text   not null default '',
    year_made       integer,
    condition       smallint,
    finish          text   not null default '',
    color           text   not null default '',
    second_finish   text   not null default '',
    second_color    text   not null default '',
    topcoat         text   not null default '',
    sheen           text   not null default '',
    hardware        text   not null default '',
    drawers         integer,
    doors           integer,
    maker           text   not null default '',
    flaws           text   not null default '',
    smell           text   not null default '',
    venue           text   not null default '',
    sold_venue      text   not null default '',
    area            text   not null default '',
    listed_on       date,
    ask_on          date[]   not null default '{}',
    ask_amount      bigint[] not null default '{}',
    ask             bigint generated always as (ask_amount[cardinality(ask_amount)]) stored,
    pauses          datemultirange not null default '{}',
    views           integer,
    saves           integer,
    messages        integer,
    viewings        integer,
    outcome         text,
    ended_on        date,
    sale_price      bigint,
    estimate        bigint,
    estimate_counts boolean not null default false,
    width_mm        numeric generated always as (width * case unit when 'in' then 25.4 else 10 end) stored,
    depth_mm        numeric generated always as (depth * case unit when 'in' then 25.4 else 10 end) stored,
    height_mm       numeric generated always as (height * case unit when 'in' then 25.4 else 10 end) stored,
    log_volume      double precision generated always as (
        ln((width::double precision * depth::double precision * height::double precision)
           * (case unit when 'in' then 2.54 else 1 end)::double precision ^ 3)) stored,
    constraint listing_pkey primary key (group_id, listing_id),
    constraint listing_piece foreign key (group_id, piece_id) references piece,
    constraint listing_owner foreign key (group_id, member_id) references member,
    constraint listing_ref_once unique (group_id, member_id, ref),
    constraint listing_named check (ref <> '' and category <> ''),
    constraint source_known check (source in ('own', 'observed')),
    constraint stage_known check (stage in ('found', 'bought', 'in_work')),
    constraint unit_known check (unit in ('in', 'cm')),
    constraint outcome_known check (outcome in ('open', 'sold', 'withdrawn')),
    constraint stage_until_listed check ((stage is null) = (listed_on is not null)),
    constraint outcome_from_listed check ((outcome is null) = (listed_on is null)),
    constraint observed_is_listed check (source = 'own' or listed_on is not null),
    constraint last_seen_is_observed check (last_seen_on is null or (source = 'observed' and last_seen_on >= listed_on)),
    constraint size_positive check (width > 0 and depth > 0 and height > 0),
    constraint set_positive check (set_size > 0),
    constraint condition_is_grade check (condition between 1 and 5),
    constraint counts_not_negative check (drawers >= 0 and doors >= 0 and views >= 0 and saves >= 0 and messages >= 0 and viewings >= 0),
    constraint asks_paired check (cardinality(ask_on) = cardinality(ask_amount)),
    constraint asks_from_listed check ((listed_on is null) = (cardinality(ask_on) = 0) and (listed_on is null or ask_on[1] = listed_on)),
    constraint asks_positive check (0 < all (ask_amount)),
    constraint asks_until_end check (ended_on is null or ended_on < listed_on or ended_on >= all (ask_on)),
    constraint ended_has_day check ((ended_on is not null) = (coalesce(outcome, 'open') in ('sold', 'withdrawn'))),
    constraint ended_after_listed check (ended_on >= listed_on),
    constraint sold_has_price check (outcome <> 'sold' or source = 'observed' or sale_price is not null),
    constraint price_is_sold check (sale_price is null or outcome is not distinct from 'sold'),
    constraint amounts_positive check (sale_price > 0 and estimate > 0),
    constraint pauses_inside check (isempty(pauses) or (listed_on is not null and lower(pauses) >= listed_on and (ended_on is null or upper(pauses) <= ended_on)))
);
comment on table listing is 'One stretch of offering one piece, or with a stage a piece not yet offered.';
comment on column listing.width is 'In unit, as entered; width_mm is exact (25.4 mm to the inch).';
comment on column listing.ask_on is 'The days from which the asks in ask_amount held.';
comment on column listing.estimate is 'Of the seller, before any suggestion; shown to the owner only.';
comment on column listing.log_volume is 'Natural logarithm of cubic centimetres.';

create unique index listing_offered_once on listing (group_id, piece_id) where outcome = 'open' and source = 'own';
create index listing_by_piece on listing (group_id, piece_id);
create index listing_by_day on listing (group_id, listed_on, listing_id);
create index listing_changed on listing (group_id, change_no);
create index listing_sold_near on listing (group_id, category, log_volume) where outcome = 'sold' and sale_price is not null;
create index listing_unsold_near on listing (group_id, category, log_volume) where outcome in ('open', 'withdrawn');
create index listing_sold_size on listing (group_id, log_volume) where outcome = 'sold' and sale_price is not null;

create table event (
    group_id   uuid        not null,
    event_id   uuid        not null,
    listing_id uuid        not null,
    owner_id   uuid        not null,
    member_id  uuid        not null,
    kind       text        not null,
    on_date    date        not null,
    at         timestamptz not null,
    change_no  bigint      not null,
    private    boolean     not null default false,
    changes    jsonb       not null default '{}',
    details    jsonb       not null default '{}',
    voids      uuid,
    voided_by  uuid,
    constraint event_pkey primary key (group_id, event_id),
    constraint event_listing foreign key (group_id, listing_id) references listing on delete cascade,
    constraint event_voids foreign key (group_id, voids) references event on delete cascade
);
comment on column event.owner_id is 'The listing''s owner, who alone sees private events.';
comment on column event.changes is 'By column: the values before and after, in canonical text.';
create index event_story on event (group_id, listing_id, change_no, event_id);
create index event_readings on event (group_id, listing_id, on_date) where kind = 'interest' and voided_by is null;

create table ledger (
    group_id        uuid not null,
    listing_id      uuid not null,
    member_id       uuid not null,
    bought_on       date,
    bought_from     text not null default '',
    condition_found smallint,
    notes           text not null default '',
    constraint ledger_pkey primary key (group_id, listing_id),
    constraint ledger_listing foreign key (group_id, listing_id) references listing on delete cascade,
    constraint condition_found_is_grade check (condition_found between 1 and 5)
);

create table cost_line (
    group_id   uuid        not null,
    line_id    uuid        not null,
    listing_id uuid        not null,
    member_id  uuid        not null,
    kind       text        not null,
    amount     bigint      not null,
    on_date    date        not null,
    at         timestamptz not null,
    change_no  bigint      not null,
    constraint cost_line_pkey primary key (group_id, line_id),
    constraint cost_line_listing foreign key (group_id, listing_id) references listing on delete cascade,
    constraint cost_kind_known check (kind in ('purchase_cost', 'pickup_cost', 'materials_cost', 'other_cost', 'fees',
        'delivery_charged', 'delivery_cost', 'hours', 'hours_other'))
);
comment on table cost_line is 'Append-only: a corrected total appends the difference.';
comment on column cost_line.amount is 'Minor units of the currency; of hours, hundredths.';
create index cost_line_total on cost_line (group_id, listing_id, kind);

create table audit (
    group_id  uuid        not null,
    audit_id  uuid        not null,
    member_id uuid        not null,
    owner_id  uuid,
    at        timestamptz not null,
    change_no bigint      not null,
    what      text        not null,
    subject   uuid        not null,
    detail    jsonb       not null default '{}',
    constraint audit_pkey primary key (group_id, audit_id),
    constraint audit_group foreign key (group_id) references groups on delete cascade
);
comment on column audit.owner_id is 'Set where the detail holds owner-only columns: who alone may see it.';
create index audit_by_day on audit (group_id, at);

-- Row-level security. The app's role sees one group, and of the ledger one
-- member; the owner's role sees all, for migrations and dumps.
do $$
declare
    t text;
    here constant text := 'group_id = nullif(current_setting(''app.group_id'', true), '''')::uuid';
    mine constant text := 'nullif(current_setting(''app.member_id'', true), '''')::uuid';
    extra text;
begin
    foreach t in array array['groups', 'group_settings', 'member', 'api_key', 'piece', 'listing', 'event', 'ledger', 'cost_line', 'audit'] loop
        extra := case t
            when 'event' then ' and (not private or owner_id = ' || mine || ')'
            when 'audit' then ' and (owner_id is null or owner_id = ' || mine || ')'
            when 'ledger' then ' and member_id = ' || mine
            when 'cost_line' then ' and member_id = ' || mine
            else '' end;
        execute format('alter table %I enable row level security', t);
        execute format('alter table %I force row level security', t);
        execute format('create policy of_the_owner on %I to askwright_owner using (true) with check (true)', t);
        if t = 'groups' then
            create policy listed on groups for select to askwright_app using (true);
            execute format('create policy added on groups for insert to askwright_app with check (%s)', here);
            execute format('create policy turned on groups for update to askwright_app using (%s) with check (%s)', here, here);
            execute format('create policy removed on groups for delete to askwright_app using (%s)', here);
        else
            execute format('create policy of_the_group on %I to askwright_app using (%s) with check (%s)', t, here || extra, here || extra);
        end if;
    end loop;
end $$;

grant select, insert, update, delete on all tables in schema askwright to askwright_app;
revoke update, delete on audit, cost_line from askwright_app;
revoke insert, update, delete on schema_version from askwright_app;
