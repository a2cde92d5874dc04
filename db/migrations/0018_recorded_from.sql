-- From which day a member's record holds what sold and what did not, where the
-- member says so; otherwise it is told from the rows.

alter table member add column recorded_from date;
comment on column member.recorded_from is
    'The day from which the member says that sold and unsold listings are all on file; null: not said.';

-- What was suggested for pieces that were not on offer yet, so that an ask that
-- follows a suggestion is not taken for its seller's own judgement.

create table suggested_ask (
    group_id  uuid        not null,
    member_id uuid        not null,
    category  text        not null,
    ask       bigint      not null,
    on_date   date        not null,
    made_at   timestamptz not null,
    constraint suggested_ask_pkey primary key (group_id, member_id, category, ask, on_date),
    constraint suggested_ask_member foreign key (group_id, member_id) references member on delete cascade,
    constraint suggested_ask_positive check (ask > 0)
);
comment on table suggested_ask is 'Asks that a member was told for such a piece on a day, with a ref or without one.';

do $$
declare
    here constant text := 'group_id = nullif(current_setting(''app.group_id'', true), '''')::uuid';
begin
    alter table suggested_ask enable row level security;
    alter table suggested_ask force row level security;
    create policy of_the_owner on suggested_ask to askwright_owner using (true) with check (true);
    execute format('create policy of_the_group on suggested_ask to askwright_app using (%s) with check (%s)', here, here);
end $$;

grant select, insert, delete on suggested_ask to askwright_app;
