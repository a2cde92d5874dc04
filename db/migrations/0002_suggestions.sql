-- Suggestions as they were shown, to be judged when their listings end. They
-- are kept in batches beside the group's turn to write and raise no change
-- number: what was shown changes nothing that is on file.

create table suggestion (
    group_id      uuid        not null,
    suggestion_id uuid        not null,
    member_id     uuid        not null,
    ref           text        not null,
    listing_id    uuid,
    on_date       date        not null,
    model         text        not null,
    made_at       timestamptz not null,
    estimate      bigint,
    likely        bigint,
    low           bigint,
    high          bigint,
    level         double precision,
    ask           bigint,
    within_days   integer,
    chance        double precision,
    prospects     jsonb,
    constraint suggestion_pkey primary key (group_id, suggestion_id),
    constraint suggestion_member foreign key (group_id, member_id) references member on delete cascade,
    constraint suggestion_listing foreign key (group_id, listing_id) references listing on delete set null (listing_id),
    constraint suggestion_once unique (group_id, member_id, ref, on_date, model),
    constraint suggestion_named check (ref <> ''),
    constraint range_in_order check (low <= likely and likely <= high),
    constraint range_whole check (num_nulls(likely, low, high, level) in (0, 4)),
    constraint ask_whole check (num_nulls(ask, within_days, chance, prospects) in (0, 4)),
    constraint chance_is_share check (chance between 0 and 1),
    constraint amounts_positive check (ask > 0 and low >= 0 and estimate > 0)
);
comment on table suggestion is 'What was promised to the owner of a ref: one for each ref, day and model.';
comment on column suggestion.listing_id is 'Null while the ref is only described, and after the row was deleted.';
comment on column suggestion.estimate is 'Of the seller, given with the request or counting by then.';
comment on column suggestion.prospects is 'What it takes to tell the chance of a sale at another ask.';
create index suggestion_of_listing on suggestion (group_id, listing_id, made_at);

do $$
declare
    here constant text := 'group_id = nullif(current_setting(''app.group_id'', true), '''')::uuid';
begin
    alter table suggestion enable row level security;
    alter table suggestion force row level security;
    create policy of_the_owner on suggestion to askwright_owner using (true) with check (true);
    execute format('create policy of_the_group on suggestion to askwright_app using (%s) with check (%s)', here, here);
end $$;

grant select, insert, delete on suggestion to askwright_app;
