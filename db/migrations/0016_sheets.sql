-- Sheets that members look at before their rows land, and what each member's
-- headings and words mean: remembered for the next sheet. Only the member sees
-- either.

create table sheet (
    group_id   uuid        not null,
    member_id  uuid        not null,
    sheet_id   uuid        not null,
    name       text        not null,
    state      text        not null default 'open',
    created_at timestamptz not null,
    cells      bytea       not null,
    columns    jsonb       not null default '{}',
    answers    jsonb       not null default '{}',
    constraint sheet_pkey primary key (group_id, sheet_id),
    constraint sheet_member foreign key (group_id, member_id) references member on delete cascade,
    constraint sheet_state check (state in ('open', 'committed')),
    constraint sheet_name_is_short check (length(name) <= 200),
    constraint sheet_is_bounded check (length(cells) <= 4194304)
);
comment on column sheet.cells is 'The cells as JSON, packed with gzip.';
comment on column sheet.columns is 'What the member said of its headings: heading to field, empty to leave it out.';
comment on column sheet.answers is 'What the member answered, by question.';
create index sheet_by_member on sheet (group_id, member_id, created_at);

create table sheet_memory (
    group_id  uuid  not null,
    member_id uuid  not null,
    columns   jsonb not null default '{}',
    answers   jsonb not null default '{}',
    constraint sheet_memory_pkey primary key (group_id, member_id),
    constraint sheet_memory_member foreign key (group_id, member_id) references member on delete cascade
);
comment on table sheet_memory is 'What a member''s headings and words mean, from the sheets that were kept.';

do $$
declare
    t text;
    here constant text := 'group_id = nullif(current_setting(''app.group_id'', true), '''')::uuid';
    mine constant text := 'member_id = nullif(current_setting(''app.member_id'', true), '''')::uuid';
begin
    foreach t in array array['sheet', 'sheet_memory'] loop
        execute format('alter table %I enable row level security', t);
        execute format('alter table %I force row level security', t);
        execute format('create policy of_the_owner on %I to askwright_owner using (true) with check (true)', t);
        execute format('create policy of_the_group on %I to askwright_app using (%s and %s) with check (%s and %s)', t, here, mine, here, mine);
    end loop;
end $$;

grant select, insert, update, delete on sheet, sheet_memory to askwright_app;
