-- What finds were asked for, beside what was then stated of them: how far a
-- bargain can be trusted is learned from these, and from what the purchases among
-- them brought. One row for each find, as it was last asked about; they change
-- nothing that is on file and raise no change number.

create table asked_price (
    group_id   uuid             not null,
    member_id  uuid             not null,
    find       text             not null,
    asked_on   date             not null,
    made_at    timestamptz      not null,
    price      bigint           not null,
    net        bigint           not null,
    sale_cash  bigint           not null,
    variance   double precision not null,
    constraint asked_price_pkey primary key (group_id, member_id, find),
    constraint asked_price_member foreign key (group_id, member_id) references member on delete cascade,
    constraint asked_find_named check (find <> ''),
    constraint asked_amounts_positive check (price > 0 and net > 0),
    constraint asked_variance_positive check (variance > 0)
);
comment on table asked_price is 'What finds were asked for, beside what was stated of them: one for each, the newest.';
comment on column asked_price.find is 'Its ref; of a find without one its kind, day and price.';
comment on column asked_price.net is 'At the likely value after fees, all costs and the hours: what the price is held against.';
comment on column asked_price.sale_cash is 'The same before those costs: what a purchase is judged by.';
comment on column asked_price.variance is 'Of the log of that value.';
create index asked_price_newest on asked_price (group_id, made_at desc);

do $$
declare
    here constant text := 'group_id = nullif(current_setting(''app.group_id'', true), '''')::uuid';
begin
    alter table asked_price enable row level security;
    alter table asked_price force row level security;
    create policy of_the_owner on asked_price to askwright_owner using (true) with check (true);
    execute format('create policy of_the_group on asked_price to askwright_app using (%s) with check (%s)', here, here);
end $$;

grant select, insert, update, delete on asked_price to askwright_app;
