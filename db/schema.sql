-- The schema after all migrations, for reading only: it is never run.
-- Rewrite it after a new migration: go test ./db -run Schema -update

create table api_key (
    group_id uuid not null,
    key_id uuid not null,
    member_id uuid not null,
    hash bytea not null,
    scope text not null,
    label text default ''::text not null,
    created_at timestamp with time zone not null,
    expires_at timestamp with time zone,
    revoked_at timestamp with time zone,
    last_used_at timestamp with time zone,
    parent_id uuid,
    made_by uuid,
    constraint api_key_pkey PRIMARY KEY (group_id, key_id),
    constraint api_key_hash_once UNIQUE (group_id, hash),
    constraint api_key_maker FOREIGN KEY (group_id, made_by) REFERENCES member(group_id, member_id) ON DELETE CASCADE,
    constraint api_key_member FOREIGN KEY (group_id, member_id) REFERENCES member(group_id, member_id) ON DELETE CASCADE,
    constraint api_key_parent FOREIGN KEY (group_id, parent_id) REFERENCES api_key(group_id, key_id) ON DELETE CASCADE,
    constraint hash_is_sha256 CHECK ((length(hash) = 32)),
    constraint scope_known CHECK ((scope = ANY (ARRAY['feed'::text, 'read'::text, 'write'::text, 'admin'::text])))
);
create policy of_the_group on api_key for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on api_key for all to askwright_owner using true with check true;
comment on column api_key.hash is 'SHA-256 of the whole key, which holds 256 random bits.';
comment on column api_key.parent_id is 'Of a session: the key that it was opened with.';
comment on column api_key.made_by is 'The member whose key it was made with; null: who runs the server, or before this was noted.';

create table asked_price (
    group_id uuid not null,
    member_id uuid not null,
    find text not null,
    asked_on date not null,
    made_at timestamp with time zone not null,
    price bigint not null,
    net bigint not null,
    sale_cash bigint not null,
    variance double precision not null,
    constraint asked_price_pkey PRIMARY KEY (group_id, member_id, find),
    constraint asked_price_member FOREIGN KEY (group_id, member_id) REFERENCES member(group_id, member_id) ON DELETE CASCADE,
    constraint asked_amounts_positive CHECK (((price > 0) AND (net > 0))),
    constraint asked_find_named CHECK ((find <> ''::text)),
    constraint asked_variance_positive CHECK ((variance > (0)::double precision))
);
CREATE INDEX asked_price_newest ON askwright.asked_price USING btree (group_id, made_at DESC);
create policy of_the_group on asked_price for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on asked_price for all to askwright_owner using true with check true;
comment on column asked_price.find is 'Its ref; of a find without one its kind, day and price.';
comment on column asked_price.net is 'At the likely value after fees, all costs and the hours: what the price is held against.';
comment on column asked_price.sale_cash is 'The same before those costs: what a purchase is judged by.';
comment on column asked_price.variance is 'Of the log of that value.';

create table audit (
    group_id uuid not null,
    audit_id uuid not null,
    member_id uuid not null,
    owner_id uuid,
    at timestamp with time zone not null,
    change_no bigint not null,
    what text not null,
    subject uuid not null,
    detail jsonb default '{}'::jsonb not null,
    constraint audit_pkey PRIMARY KEY (group_id, audit_id),
    constraint audit_group FOREIGN KEY (group_id) REFERENCES groups(group_id) ON DELETE CASCADE
);
CREATE INDEX audit_by_day ON askwright.audit USING btree (group_id, at);
create policy of_the_group on audit for all to askwright_app using ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND ((owner_id IS NULL) OR (owner_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid))) with check ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND ((owner_id IS NULL) OR (owner_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid)));
create policy of_the_owner on audit for all to askwright_owner using true with check true;
comment on column audit.owner_id is 'Set where the detail holds owner-only columns: who alone may see it.';

create table cost_line (
    group_id uuid not null,
    line_id uuid not null,
    listing_id uuid not null,
    member_id uuid not null,
    kind text not null,
    amount bigint not null,
    on_date date not null,
    at timestamp with time zone not null,
    change_no bigint not null,
    step text default ''::text not null,
    note text default ''::text not null,
    voids uuid,
    constraint cost_line_pkey PRIMARY KEY (group_id, line_id),
    constraint cost_line_voided_once UNIQUE (group_id, voids),
    constraint cost_line_listing FOREIGN KEY (group_id, listing_id) REFERENCES listing(group_id, listing_id) ON DELETE CASCADE,
    constraint cost_line_voids FOREIGN KEY (group_id, voids) REFERENCES cost_line(group_id, line_id) ON DELETE CASCADE,
    constraint cost_kind_known CHECK ((kind = ANY (ARRAY['purchase_cost'::text, 'pickup_cost'::text, 'materials_cost'::text, 'other_cost'::text, 'fees'::text, 'delivery_charged'::text, 'delivery_cost'::text, 'hours'::text, 'hours_other'::text]))),
    constraint step_is_of_hours CHECK (((step = ''::text) OR (kind = ANY (ARRAY['hours'::text, 'hours_other'::text]))))
);
CREATE INDEX cost_line_total ON askwright.cost_line USING btree (group_id, listing_id, kind);
create policy of_the_group on cost_line for all to askwright_app using ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND (member_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid)) with check ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND (member_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid));
create policy of_the_owner on cost_line for all to askwright_owner using true with check true;
comment on column cost_line.amount is 'Minor units of the currency; of hours, hundredths.';
comment on column cost_line.step is 'Of hours: strip, sand, paint ...';
comment on column cost_line.voids is 'The line that this one takes back, with the opposite amount and the same day.';

create table event (
    group_id uuid not null,
    event_id uuid not null,
    listing_id uuid not null,
    owner_id uuid not null,
    member_id uuid not null,
    kind text not null,
    on_date date not null,
    at timestamp with time zone not null,
    change_no bigint not null,
    private boolean default false not null,
    changes jsonb default '{}'::jsonb not null,
    details jsonb default '{}'::jsonb not null,
    voids uuid,
    voided_by uuid,
    owner_details jsonb default '{}'::jsonb not null,
    constraint event_pkey PRIMARY KEY (group_id, event_id),
    constraint event_listing FOREIGN KEY (group_id, listing_id) REFERENCES listing(group_id, listing_id) ON DELETE CASCADE,
    constraint event_voids FOREIGN KEY (group_id, voids) REFERENCES event(group_id, event_id) ON DELETE CASCADE
);
CREATE INDEX event_checks ON askwright.event USING btree (group_id, listing_id) WHERE ((kind = 'check'::text) AND (voided_by IS NULL));
CREATE INDEX event_holds ON askwright.event USING btree (group_id, listing_id) WHERE ((kind = ANY (ARRAY['hold'::text, 'release'::text])) AND (voided_by IS NULL));
CREATE INDEX event_readings ON askwright.event USING btree (group_id, listing_id, on_date) WHERE ((kind = 'interest'::text) AND (voided_by IS NULL));
CREATE INDEX event_story ON askwright.event USING btree (group_id, listing_id, change_no, event_id);
CREATE INDEX event_voiding ON askwright.event USING btree (group_id, voids) WHERE (voids IS NOT NULL);
create policy of_the_group on event for all to askwright_app using ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND ((NOT private) OR (owner_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid))) with check ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND ((NOT private) OR (owner_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid)));
create policy of_the_owner on event for all to askwright_owner using true with check true;
comment on column event.owner_id is 'The listing''s owner, who alone sees private events.';
comment on column event.changes is 'By column: the values before and after, in canonical text.';
comment on column event.owner_details is 'Laid over details for the listing''s owner, and left out for all others.';

create table group_settings (
    group_id uuid not null,
    name text not null,
    currency text not null,
    unit text not null,
    timezone text not null,
    date_order text default ''::text not null,
    hour_value bigint default 0 not null,
    space_price bigint default 0 not null,
    minimum_profit bigint default 0 not null,
    fee_rate double precision not null,
    holding_rate double precision not null,
    salvage_rate double precision not null,
    horizon_days integer not null,
    flag_gain double precision not null,
    refinish_options jsonb default '[]'::jsonb not null,
    created_at timestamp with time zone not null,
    material_prices jsonb default '[]'::jsonb not null,
    distance_cost bigint default 0 not null,
    venue_fees jsonb default '[]'::jsonb not null,
    constraint group_settings_pkey PRIMARY KEY (group_id),
    constraint group_settings_group FOREIGN KEY (group_id) REFERENCES groups(group_id) ON DELETE CASCADE,
    constraint currency_is_code CHECK ((currency ~ '^[A-Z]{3}$'::text)),
    constraint date_order_known CHECK ((date_order = ANY (ARRAY[''::text, 'mdy'::text, 'dmy'::text]))),
    constraint distance_cost_amount CHECK ((distance_cost >= 0)),
    constraint fee_rate_is_share CHECK (((fee_rate >= (0)::double precision) AND (fee_rate < (1)::double precision))),
    constraint group_named CHECK ((name <> ''::text)),
    constraint holding_rate_is_share CHECK (((holding_rate >= (0)::double precision) AND (holding_rate <= (1)::double precision))),
    constraint horizon_positive CHECK ((horizon_days > 0)),
    constraint salvage_rate_is_share CHECK (((salvage_rate >= (0)::double precision) AND (salvage_rate <= (1)::double precision))),
    constraint settings_not_negative CHECK (((hour_value >= 0) AND (space_price >= 0) AND (minimum_profit >= 0))),
    constraint unit_known CHECK ((unit = ANY (ARRAY['in'::text, 'cm'::text])))
);
create policy of_the_group on group_settings for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on group_settings for all to askwright_owner using true with check true;
comment on column group_settings.hour_value is 'Minor units of the currency, as all amounts.';
comment on column group_settings.space_price is 'Of one square foot (unit in) or metre (unit cm) of floor a month.';
comment on column group_settings.material_prices is 'By product: price in minor units, size and unit of the container. Rough shop prices stand in for what is missing.';
comment on column group_settings.venue_fees is 'By venue and the day from which they hold: what share of the sale price the venue keeps.';

create table groups (
    group_id uuid not null,
    change_no bigint default 0 not null,
    constraint groups_pkey PRIMARY KEY (group_id),
    constraint change_no_not_negative CHECK ((change_no >= 0))
);
create policy added on groups for insert to askwright_app with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy listed on groups for select to askwright_app using true;
create policy of_the_owner on groups for all to askwright_owner using true with check true;
create policy removed on groups for delete to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy turned on groups for update to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
comment on column groups.change_no is 'Raised by every write of the group; its row is the group''s turn to write.';

create table idempotency (
    group_id uuid not null,
    member_id uuid not null,
    operation text not null,
    key text not null,
    sum bytea not null,
    made_at timestamp with time zone not null,
    status integer,
    headers jsonb default '{}'::jsonb not null,
    body bytea,
    constraint idempotency_pkey PRIMARY KEY (group_id, member_id, operation, key),
    constraint idempotency_member FOREIGN KEY (group_id, member_id) REFERENCES member(group_id, member_id) ON DELETE CASCADE,
    constraint key_is_short CHECK (((length(key) >= 1) AND (length(key) <= 255))),
    constraint status_is_success CHECK (((status >= 200) AND (status <= 299))),
    constraint sum_is_sha256 CHECK ((length(sum) = 32))
);
CREATE INDEX idempotency_by_age ON askwright.idempotency USING btree (group_id, made_at);
create policy of_the_group on idempotency for all to askwright_app using ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND (member_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid)) with check ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND (member_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid));
create policy of_the_owner on idempotency for all to askwright_owner using true with check true;
comment on column idempotency.operation is 'Method and path.';
comment on column idempotency.sum is 'SHA-256 of the query, the kind of the body and the body.';
comment on column idempotency.status is 'Null only within the transaction that works on it.';

create table invitation (
    group_id uuid not null,
    invitation_id uuid not null,
    hash bytea not null,
    name text not null,
    scope text not null,
    made_by uuid,
    created_at timestamp with time zone not null,
    expires_at timestamp with time zone not null,
    revoked_at timestamp with time zone,
    redeemed_at timestamp with time zone,
    key_id uuid,
    constraint invitation_pkey PRIMARY KEY (group_id, invitation_id),
    constraint invitation_hash_once UNIQUE (group_id, hash),
    constraint invitation_group FOREIGN KEY (group_id) REFERENCES groups(group_id) ON DELETE CASCADE,
    constraint invitation_key FOREIGN KEY (group_id, key_id) REFERENCES api_key(group_id, key_id) ON DELETE CASCADE,
    constraint invitation_maker FOREIGN KEY (group_id, made_by) REFERENCES member(group_id, member_id) ON DELETE CASCADE,
    constraint invitation_hash_is_sha256 CHECK ((length(hash) = 32)),
    constraint invitation_named CHECK ((name <> ''::text)),
    constraint invitation_scope_known CHECK ((scope = ANY (ARRAY['read'::text, 'write'::text, 'admin'::text]))),
    constraint redeemed_has_key CHECK (((redeemed_at IS NULL) = (key_id IS NULL)))
);
CREATE INDEX invitation_by_key ON askwright.invitation USING btree (group_id, key_id);
CREATE INDEX invitation_by_maker ON askwright.invitation USING btree (group_id, made_by);
create policy of_the_group on invitation for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on invitation for all to askwright_owner using true with check true;
comment on column invitation.hash is 'SHA-256 of the whole invitation, which holds 256 random bits.';
comment on column invitation.name is 'Of the member that it makes.';
comment on column invitation.made_by is 'The member who invites; null: who runs the server.';
comment on column invitation.key_id is 'The key that it was redeemed for. Until that is used it can be redeemed again, for another one.';

create table ledger (
    group_id uuid not null,
    listing_id uuid not null,
    member_id uuid not null,
    bought_on date,
    bought_from text default ''::text not null,
    condition_found smallint,
    notes text default ''::text not null,
    constraint ledger_pkey PRIMARY KEY (group_id, listing_id),
    constraint ledger_listing FOREIGN KEY (group_id, listing_id) REFERENCES listing(group_id, listing_id) ON DELETE CASCADE,
    constraint condition_found_is_grade CHECK (((condition_found >= 1) AND (condition_found <= 5)))
);
create policy of_the_group on ledger for all to askwright_app using ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND (member_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid)) with check ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND (member_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid));
create policy of_the_owner on ledger for all to askwright_owner using true with check true;

create table listing (
    group_id uuid not null,
    listing_id uuid not null,
    piece_id uuid not null,
    member_id uuid not null,
    revision bigint not null,
    change_no bigint not null,
    ref text not null,
    source text not null,
    last_seen_on date,
    stage text,
    category text not null,
    set_size integer,
    items text default ''::text not null,
    width numeric(9,4),
    depth numeric(9,4),
    height numeric(9,4),
    unit text not null,
    material text default ''::text not null,
    wood text default ''::text not null,
    style text default ''::text not null,
    year_made integer,
    condition smallint,
    finish text default ''::text not null,
    color text default ''::text not null,
    second_finish text default ''::text not null,
    second_color text default ''::text not null,
    topcoat text default ''::text not null,
    sheen text default ''::text not null,
    hardware text default ''::text not null,
    drawers integer,
    doors integer,
    maker text default ''::text not null,
    flaws text default ''::text not null,
    smell text default ''::text not null,
    venue text default ''::text not null,
    sold_venue text default ''::text not null,
    area text default ''::text not null,
    listed_on date,
    ask_on date[] default '{}'::date[] not null,
    ask_amount bigint[] default '{}'::bigint[] not null,
    ask bigint generated always as (ask_amount[cardinality(ask_amount)]) stored,
    pauses datemultirange default '{}'::datemultirange not null,
    views integer,
    saves integer,
    messages integer,
    viewings integer,
    outcome text,
    ended_on date,
    sale_price bigint,
    estimate bigint,
    estimate_counts boolean default false not null,
    width_mm numeric generated always as ((width *
CASE unit
    WHEN 'in'::text THEN 25.4
    ELSE (10)::numeric
END)) stored,
    depth_mm numeric generated always as ((depth *
CASE unit
    WHEN 'in'::text THEN 25.4
    ELSE (10)::numeric
END)) stored,
    height_mm numeric generated always as ((height *
CASE unit
    WHEN 'in'::text THEN 25.4
    ELSE (10)::numeric
END)) stored,
    log_volume double precision generated always as (ln(((((width)::double precision * (depth)::double precision) * (height)::double precision) * ((
CASE unit
    WHEN 'in'::text THEN 2.54
    ELSE (1)::numeric
END)::double precision ^ (3)::double precision)))) stored,
    seller_ask bigint,
    let_go text,
    let_go_on date,
    let_go_note text default ''::text not null,
    planned_finish text default ''::text not null,
    planned_color text default ''::text not null,
    ranked_by text generated always as (((((((((((((((((((((((((((((((((((COALESCE((set_size)::text, ''::text) || ''::text) ||
CASE
    WHEN (octet_length(items) <= 900) THEN translate(items, ''::text, ''::text)
    ELSE ''::text
END) || ''::text) || COALESCE((trim_scale(width))::text, ''::text)) || ''::text) || COALESCE((trim_scale(depth))::text, ''::text)) || ''::text) || COALESCE((trim_scale(height))::text, ''::text)) || ''::text) || unit) || ''::text) || translate(material, ''::text, ''::text)) || ''::text) || translate(wood, ''::text, ''::text)) || ''::text) || COALESCE((condition)::text, ''::text)) || ''::text) || translate(finish, ''::text, ''::text)) || ''::text) || translate(color, ''::text, ''::text)) || ''::text) || translate(hardware, ''::text, ''::text)) || ''::text) || COALESCE(outcome, ''::text)) || ''::text) ||
CASE
    WHEN (source = 'observed'::text) THEN 'observed'::text
    ELSE ''::text
END) || ''::text) || COALESCE(((listed_on - '0001-01-01'::date))::text, ''::text)) || ''::text) || COALESCE(((ask_on[cardinality(ask_on)] - '0001-01-01'::date))::text, ''::text)) || ''::text) || COALESCE(((ended_on - '0001-01-01'::date))::text, ''::text)) || ''::text) || COALESCE(((last_seen_on - '0001-01-01'::date))::text, ''::text))) stored,
    constraint listing_pkey PRIMARY KEY (group_id, listing_id),
    constraint listing_ref_once UNIQUE (group_id, member_id, ref),
    constraint listing_owner FOREIGN KEY (group_id, member_id) REFERENCES member(group_id, member_id),
    constraint listing_piece FOREIGN KEY (group_id, piece_id) REFERENCES piece(group_id, piece_id),
    constraint amounts_positive CHECK (((sale_price > 0) AND (estimate > 0))),
    constraint asks_from_listed CHECK ((((listed_on IS NULL) = (cardinality(ask_on) = 0)) AND ((listed_on IS NULL) OR (ask_on[1] = listed_on)))),
    constraint asks_paired CHECK ((cardinality(ask_on) = cardinality(ask_amount))),
    constraint asks_positive CHECK ((0 < ALL (ask_amount))),
    constraint asks_until_end CHECK (((ended_on IS NULL) OR (ended_on < listed_on) OR (ended_on >= ALL (ask_on)))),
    constraint condition_is_grade CHECK (((condition >= 1) AND (condition <= 5))),
    constraint counts_not_negative CHECK (((drawers >= 0) AND (doors >= 0) AND (views >= 0) AND (saves >= 0) AND (messages >= 0) AND (viewings >= 0))),
    constraint ended_after_listed CHECK ((ended_on >= listed_on)),
    constraint ended_has_day CHECK (((ended_on IS NOT NULL) = (COALESCE(outcome, 'open'::text) = ANY (ARRAY['sold'::text, 'withdrawn'::text])))),
    constraint last_seen_is_observed CHECK (((last_seen_on IS NULL) OR ((source = 'observed'::text) AND (last_seen_on >= listed_on)))),
    constraint let_go_after_end CHECK ((let_go_on >= ended_on)),
    constraint let_go_has_day CHECK (((let_go IS NULL) = (let_go_on IS NULL))),
    constraint let_go_is_noted CHECK (((let_go IS NOT NULL) OR (let_go_note = ''::text))),
    constraint let_go_known CHECK ((let_go = ANY (ARRAY['price'::text, 'condition'::text, 'space'::text, 'gone'::text, 'given_away'::text, 'kept'::text, 'broken_up'::text, 'other'::text]))),
    constraint let_go_unsold CHECK (((let_go IS NULL) OR ((source = 'own'::text) AND ((listed_on IS NULL) OR (outcome = 'withdrawn'::text))))),
    constraint listing_named CHECK (((ref <> ''::text) AND (category <> ''::text))),
    constraint observed_is_listed CHECK (((source = 'own'::text) OR (listed_on IS NOT NULL))),
    constraint outcome_from_listed CHECK (((outcome IS NULL) = (listed_on IS NULL))),
    constraint outcome_known CHECK ((outcome = ANY (ARRAY['open'::text, 'sold'::text, 'withdrawn'::text]))),
    constraint pauses_inside CHECK ((isempty(pauses) OR ((listed_on IS NOT NULL) AND (lower(pauses) >= listed_on) AND ((ended_on IS NULL) OR (upper(pauses) <= ended_on))))),
    constraint price_is_sold CHECK (((sale_price IS NULL) OR (NOT (outcome IS DISTINCT FROM 'sold'::text)))),
    constraint seller_ask_positive CHECK ((seller_ask > 0)),
    constraint set_positive CHECK ((set_size > 0)),
    constraint size_positive CHECK (((width > (0)::numeric) AND (depth > (0)::numeric) AND (height > (0)::numeric))),
    constraint sold_has_price CHECK (((outcome <> 'sold'::text) OR (source = 'observed'::text) OR (sale_price IS NOT NULL))),
    constraint source_known CHECK ((source = ANY (ARRAY['own'::text, 'observed'::text]))),
    constraint stage_known CHECK ((stage = ANY (ARRAY['found'::text, 'bought'::text, 'in_work'::text]))),
    constraint stage_until_listed CHECK (((stage IS NULL) = (listed_on IS NOT NULL))),
    constraint unit_known CHECK ((unit = ANY (ARRAY['in'::text, 'cm'::text])))
);
CREATE INDEX listing_by_piece ON askwright.listing USING btree (group_id, piece_id);
CREATE INDEX listing_changed ON askwright.listing USING btree (group_id, change_no, listing_id);
CREATE INDEX listing_in_yard ON askwright.listing USING btree (group_id, member_id) WHERE ((listed_on IS NULL) AND (let_go IS NULL));
CREATE UNIQUE INDEX listing_offered_once ON askwright.listing USING btree (group_id, piece_id) WHERE ((outcome = 'open'::text) AND (source = 'own'::text));
CREATE INDEX listing_order_ask ON askwright.listing USING btree (group_id, (
CASE
    WHEN (ask IS NULL) THEN (0)::bigint
    ELSE ask
END), listing_id);
CREATE INDEX listing_order_category ON askwright.listing USING btree (group_id, category, listing_id);
CREATE INDEX listing_order_ended_on ON askwright.listing USING btree (group_id, (
CASE
    WHEN (ended_on IS NULL) THEN '0001-01-01'::date
    ELSE ended_on
END), listing_id);
CREATE INDEX listing_order_listed_on ON askwright.listing USING btree (group_id, (
CASE
    WHEN (listed_on IS NULL) THEN '0001-01-01'::date
    ELSE listed_on
END), listing_id);
CREATE INDEX listing_order_ref ON askwright.listing USING btree (group_id, ref, listing_id);
CREATE INDEX listing_order_sale_price ON askwright.listing USING btree (group_id, (
CASE
    WHEN (sale_price IS NULL) THEN (0)::bigint
    ELSE sale_price
END), listing_id);
CREATE INDEX listing_sold_near ON askwright.listing USING btree (group_id, category, log_volume, listing_id) INCLUDE (piece_id, ranked_by) WHERE ((outcome = 'sold'::text) AND (sale_price IS NOT NULL));
CREATE INDEX listing_sold_newest ON askwright.listing USING btree (group_id, category, ended_on, listing_id) WHERE ((outcome = 'sold'::text) AND (sale_price IS NOT NULL));
CREATE INDEX listing_sold_size ON askwright.listing USING btree (group_id, log_volume) WHERE ((outcome = 'sold'::text) AND (sale_price IS NOT NULL));
CREATE INDEX listing_unsold_near ON askwright.listing USING btree (group_id, category, log_volume, listing_id) INCLUDE (piece_id, ranked_by) WHERE (outcome = ANY (ARRAY['open'::text, 'withdrawn'::text]));
create policy of_the_group on listing for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on listing for all to askwright_owner using true with check true;
comment on column listing.width is 'In unit, as entered; width_mm is exact (25.4 mm to the inch).';
comment on column listing.ask_on is 'The days from which the asks in ask_amount held.';
comment on column listing.estimate is 'Of the seller, before any suggestion; shown to the owner only.';
comment on column listing.log_volume is 'Natural logarithm of cubic centimetres.';
comment on column listing.seller_ask is 'What the seller of a find asks for it: for the group to know.';
comment on column listing.let_go is 'Why it left without a sale: price, condition, space or gone of a find that was passed over; given_away, kept or broken_up of an own piece.';
comment on column listing.planned_finish is 'The finish that it is to be given; empty: none is planned.';
comment on column listing.ranked_by is 'What comparables are ranked by; days count from 0001-01-01.';

create table listing_deleted (
    group_id uuid not null,
    listing_id uuid not null,
    change_no bigint not null,
    constraint listing_deleted_pkey PRIMARY KEY (group_id, listing_id),
    constraint listing_deleted_group FOREIGN KEY (group_id) REFERENCES groups(group_id) ON DELETE CASCADE
);
CREATE INDEX listing_deleted_since ON askwright.listing_deleted USING btree (group_id, change_no, listing_id);
create policy of_the_group on listing_deleted for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on listing_deleted for all to askwright_owner using true with check true;

create table listing_state (
    group_id uuid not null,
    listing_id uuid not null,
    state text not null,
    action text default ''::text not null,
    since timestamp with time zone not null,
    updated_at timestamp with time zone not null,
    step_from bigint,
    step_at_age double precision,
    step_to bigint,
    checks_from date,
    step_is_due boolean default false not null,
    constraint listing_state_pkey PRIMARY KEY (group_id, listing_id),
    constraint listing_state_listing FOREIGN KEY (group_id, listing_id) REFERENCES listing(group_id, listing_id) ON DELETE CASCADE,
    constraint state_known CHECK ((state = ANY (ARRAY['stale'::text, 'slow'::text, 'fresh'::text, 'paused'::text, 'ended'::text]))),
    constraint step_lowers CHECK (((step_to > 0) AND (step_to < step_from))),
    constraint step_whole CHECK (((step_from IS NOT NULL) OR (num_nonnulls(step_at_age, step_to, checks_from) = 0))),
    constraint updated_in_state CHECK ((updated_at >= since))
);
create policy of_the_group on listing_state for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on listing_state for all to askwright_owner using true with check true;
comment on column listing_state.action is 'The best remedy by then.';
comment on column listing_state.since is 'When the state was noted; updated_at: when the state or the remedy was.';
comment on column listing_state.step_from is 'The ask that the plan was made at; another one ends it. Null: there is no plan.';
comment on column listing_state.step_at_age is 'Active days of the listing at which its next step falls due.';
comment on column listing_state.step_to is 'The ask of the step; null: the ask stays.';
comment on column listing_state.checks_from is 'Since when the cheap checks come before the step.';
comment on column listing_state.step_is_due is 'The listing was stale by then.';

create table member (
    group_id uuid not null,
    member_id uuid not null,
    name text not null,
    joined_at timestamp with time zone not null,
    left_at timestamp with time zone,
    recorded_from date,
    constraint member_pkey PRIMARY KEY (group_id, member_id),
    constraint member_group FOREIGN KEY (group_id) REFERENCES groups(group_id) ON DELETE CASCADE,
    constraint member_named CHECK ((name <> ''::text))
);
CREATE UNIQUE INDEX member_name_once ON askwright.member USING btree (group_id, lower(name));
create policy of_the_group on member for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on member for all to askwright_owner using true with check true;
comment on column member.recorded_from is 'The day from which the member says that sold and unsold listings are all on file; null: not said.';

create table piece (
    group_id uuid not null,
    piece_id uuid not null,
    member_id uuid not null,
    ref text not null,
    constraint piece_pkey PRIMARY KEY (group_id, piece_id),
    constraint piece_ref_once UNIQUE (group_id, member_id, ref),
    constraint piece_owner FOREIGN KEY (group_id, member_id) REFERENCES member(group_id, member_id),
    constraint piece_named CHECK ((ref <> ''::text))
);
CREATE INDEX piece_order_ref ON askwright.piece USING btree (group_id, ref, piece_id);
create policy of_the_group on piece for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on piece for all to askwright_owner using true with check true;

create table rate_fit (
    group_id uuid not null,
    design integer not null,
    fitted_on date not null,
    change_no bigint not null,
    rates json not null,
    taken_until timestamp with time zone,
    constraint rate_fit_pkey PRIMARY KEY (group_id, design),
    constraint rate_fit_group FOREIGN KEY (group_id) REFERENCES groups(group_id) ON DELETE CASCADE
);
create policy of_the_group on rate_fit for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on rate_fit for all to askwright_owner using true with check true;
comment on column rate_fit.change_no is 'The last change that the fit knows.';
comment on column rate_fit.rates is 'pricing.Rates; not jsonb, which rewrites numbers: every replica is to read the same bits.';
comment on column rate_fit.taken_until is 'Until when somebody may be fitting anew, for all others to leave it.';

create table sale_row (
    group_id uuid not null,
    design integer not null,
    listing_id uuid not null,
    on_date date not null,
    terms text[] not null,
    term_values double precision[] not null,
    y double precision not null,
    weight double precision not null,
    constraint sale_row_pkey PRIMARY KEY (group_id, design, listing_id),
    constraint sale_row_statistics FOREIGN KEY (group_id, design) REFERENCES value_statistics(group_id, design) ON DELETE CASCADE,
    constraint terms_paired CHECK ((cardinality(terms) = cardinality(term_values)))
);
create policy of_the_group on sale_row for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on sale_row for all to askwright_owner using true with check true;
comment on column sale_row.y is 'Natural logarithm of the sale price in major units.';

create table sheet (
    group_id uuid not null,
    member_id uuid not null,
    sheet_id uuid not null,
    name text not null,
    state text default 'open'::text not null,
    created_at timestamp with time zone not null,
    cells bytea not null,
    columns jsonb default '{}'::jsonb not null,
    answers jsonb default '{}'::jsonb not null,
    constraint sheet_pkey PRIMARY KEY (group_id, sheet_id),
    constraint sheet_member FOREIGN KEY (group_id, member_id) REFERENCES member(group_id, member_id) ON DELETE CASCADE,
    constraint sheet_is_bounded CHECK ((length(cells) <= 4194304)),
    constraint sheet_name_is_short CHECK ((length(name) <= 200)),
    constraint sheet_state CHECK ((state = ANY (ARRAY['open'::text, 'committed'::text])))
);
CREATE INDEX sheet_by_member ON askwright.sheet USING btree (group_id, member_id, created_at);
create policy of_the_group on sheet for all to askwright_app using ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND (member_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid)) with check ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND (member_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid));
create policy of_the_owner on sheet for all to askwright_owner using true with check true;
comment on column sheet.cells is 'The cells as JSON, packed with gzip.';
comment on column sheet.columns is 'What the member said of its headings: heading to field, empty to leave it out.';
comment on column sheet.answers is 'What the member answered, by question.';

create table sheet_memory (
    group_id uuid not null,
    member_id uuid not null,
    columns jsonb default '{}'::jsonb not null,
    answers jsonb default '{}'::jsonb not null,
    constraint sheet_memory_pkey PRIMARY KEY (group_id, member_id),
    constraint sheet_memory_member FOREIGN KEY (group_id, member_id) REFERENCES member(group_id, member_id) ON DELETE CASCADE
);
create policy of_the_group on sheet_memory for all to askwright_app using ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND (member_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid)) with check ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND (member_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid));
create policy of_the_owner on sheet_memory for all to askwright_owner using true with check true;

create table suggested_ask (
    group_id uuid not null,
    member_id uuid not null,
    category text not null,
    ask bigint not null,
    on_date date not null,
    made_at timestamp with time zone not null,
    constraint suggested_ask_pkey PRIMARY KEY (group_id, member_id, category, ask, on_date),
    constraint suggested_ask_member FOREIGN KEY (group_id, member_id) REFERENCES member(group_id, member_id) ON DELETE CASCADE,
    constraint suggested_ask_positive CHECK ((ask > 0))
);
create policy of_the_group on suggested_ask for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on suggested_ask for all to askwright_owner using true with check true;

create table suggestion (
    group_id uuid not null,
    suggestion_id uuid not null,
    member_id uuid not null,
    ref text not null,
    listing_id uuid,
    on_date date not null,
    model text not null,
    made_at timestamp with time zone not null,
    estimate bigint,
    likely bigint,
    low bigint,
    high bigint,
    level double precision,
    ask bigint,
    within_days integer,
    chance double precision,
    prospects jsonb,
    constraint suggestion_pkey PRIMARY KEY (group_id, suggestion_id),
    constraint suggestion_once UNIQUE (group_id, member_id, ref, on_date, model),
    constraint suggestion_listing FOREIGN KEY (group_id, listing_id) REFERENCES listing(group_id, listing_id) ON DELETE SET NULL (listing_id),
    constraint suggestion_member FOREIGN KEY (group_id, member_id) REFERENCES member(group_id, member_id) ON DELETE CASCADE,
    constraint amounts_positive CHECK (((ask > 0) AND (low >= 0) AND (estimate > 0))),
    constraint ask_whole CHECK ((num_nulls(ask, within_days, chance, prospects) = ANY (ARRAY[0, 4]))),
    constraint chance_is_share CHECK (((chance >= (0)::double precision) AND (chance <= (1)::double precision))),
    constraint range_in_order CHECK (((low <= likely) AND (likely <= high))),
    constraint range_whole CHECK ((num_nulls(likely, low, high, level) = ANY (ARRAY[0, 4]))),
    constraint suggestion_named CHECK ((ref <> ''::text))
);
CREATE INDEX suggestion_of_listing ON askwright.suggestion USING btree (group_id, listing_id, made_at);
create policy of_the_group on suggestion for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on suggestion for all to askwright_owner using true with check true;
comment on column suggestion.listing_id is 'Null while the ref is only described, and after the row was deleted.';
comment on column suggestion.estimate is 'Of the seller, given with the request or counting by then.';
comment on column suggestion.prospects is 'What it takes to tell the chance of a sale at another ask.';

create table value_statistics (
    group_id uuid not null,
    design integer not null,
    folded bigint default 0 not null,
    corrections integer default 0 not null,
    statistics bytea default '\x'::bytea not null,
    constraint value_statistics_pkey PRIMARY KEY (group_id, design),
    constraint value_statistics_group FOREIGN KEY (group_id) REFERENCES groups(group_id) ON DELETE CASCADE
);
create policy of_the_group on value_statistics for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on value_statistics for all to askwright_owner using true with check true;
comment on column value_statistics.folded is 'The change number up to which listings are in them.';
comment on column value_statistics.corrections is 'Sales taken back since they were last built from nothing.';
comment on column value_statistics.statistics is 'pricing.Statistics as a gob: tens of thousands of numbers that nobody queries, to the last bit.';

create table webhook (
    group_id uuid not null,
    webhook_id uuid not null,
    member_id uuid not null,
    url text not null,
    label text default ''::text not null,
    events text[] not null,
    secret bytea not null,
    created_at timestamp with time zone not null,
    busy_until timestamp with time zone,
    failing_since timestamp with time zone,
    disabled_at timestamp with time zone,
    note text default ''::text not null,
    constraint webhook_pkey PRIMARY KEY (group_id, webhook_id),
    constraint webhook_member FOREIGN KEY (group_id, member_id) REFERENCES member(group_id, member_id) ON DELETE CASCADE,
    constraint events_some CHECK ((cardinality(events) > 0)),
    constraint secret_is_long CHECK (((length(secret) >= 24) AND (length(secret) <= 64))),
    constraint url_is_https CHECK ((url ~~ 'https://%'::text))
);
create policy of_the_group on webhook for all to askwright_app using (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) with check (group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid);
create policy of_the_owner on webhook for all to askwright_owner using true with check true;
comment on column webhook.member_id is 'Who made it: it is told what this member may see.';
comment on column webhook.secret is 'The key of the signatures: it must be used, so that no hash of it would do.';
comment on column webhook.busy_until is 'Until then one process has it, or it is left alone after a failure.';
comment on column webhook.failing_since is 'The first failure after the last success.';
comment on column webhook.note is 'Why it was disabled.';

create table webhook_delivery (
    group_id uuid not null,
    delivery_id uuid not null,
    webhook_id uuid not null,
    owner_id uuid,
    listing_id uuid,
    event text not null,
    payload text not null,
    created_at timestamp with time zone not null,
    next_at timestamp with time zone,
    attempts integer default 0 not null,
    tried_at timestamp with time zone,
    status integer,
    error text default ''::text not null,
    delivered_at timestamp with time zone,
    constraint webhook_delivery_pkey PRIMARY KEY (group_id, delivery_id),
    constraint webhook_delivery_webhook FOREIGN KEY (group_id, webhook_id) REFERENCES webhook(group_id, webhook_id) ON DELETE CASCADE,
    constraint delivered_is_over CHECK (((delivered_at IS NULL) OR (next_at IS NULL)))
);
CREATE INDEX webhook_delivery_due ON askwright.webhook_delivery USING btree (group_id, webhook_id, created_at, delivery_id) WHERE (next_at IS NOT NULL);
CREATE INDEX webhook_delivery_list ON askwright.webhook_delivery USING btree (group_id, webhook_id, created_at, delivery_id);
create policy of_the_group on webhook_delivery for all to askwright_app using ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND ((owner_id IS NULL) OR (owner_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid))) with check ((group_id = (NULLIF(current_setting('app.group_id'::text, true), ''::text))::uuid) AND ((owner_id IS NULL) OR (owner_id = (NULLIF(current_setting('app.member_id'::text, true), ''::text))::uuid)));
create policy of_the_owner on webhook_delivery for all to askwright_owner using true with check true;
comment on column webhook_delivery.owner_id is 'Set where the payload holds what only this member may see.';
comment on column webhook_delivery.next_at is 'When it is tried next; null: it was delivered, or given up.';
comment on column webhook_delivery.status is 'Of the last answer; null: there was none.';
