-- What the models of a group are made from, so that an answer need not read
-- its whole history. Nothing here lasts: without a row it is made anew from the
-- listings. Rows of another design stand beside it while a release is rolled out.
--
-- value_statistics and sale_row come from what the group shares: descriptions,
-- asks and sale prices. The seller's estimate, which readers' statements hide,
-- never enters them. The rates do rest on estimates (as before they were
-- stored), but hold coefficients and means over all listings, never one of a
-- listing; of single listings rate_fit names sales far from their asks, with
-- the ask and the price that everybody in the group sees.

create table value_statistics (
    group_id    uuid    not null,
    design      integer not null,
    folded      bigint  not null default 0,
    corrections integer not null default 0,
    statistics  bytea   not null default '',
    constraint value_statistics_pkey primary key (group_id, design),
    constraint value_statistics_group foreign key (group_id) references groups on delete cascade
);
comment on table value_statistics is 'The sufficient statistics of the value model: its row is the turn to fold.';
comment on column value_statistics.folded is 'The change number up to which listings are in them.';
comment on column value_statistics.corrections is 'Sales taken back since they were last built from nothing.';
comment on column value_statistics.statistics is
    'pricing.Statistics as a gob: tens of thousands of numbers that nobody queries, to the last bit.';

create table sale_row (
    group_id    uuid     not null,
    design      integer  not null,
    listing_id  uuid     not null,
    on_date     date     not null,
    terms       text[]   not null,
    term_values float8[] not null,
    y           float8   not null,
    weight      float8   not null,
    constraint sale_row_pkey primary key (group_id, design, listing_id),
    constraint sale_row_statistics foreign key (group_id, design) references value_statistics on delete cascade,
    constraint terms_paired check (cardinality(terms) = cardinality(term_values))
);
comment on table sale_row is
    'The sales in value_statistics as they were added, which is how they are taken back. A row outlives its listing until that is done.';
comment on column sale_row.y is 'Natural logarithm of the sale price in major units.';

create table rate_fit (
    group_id    uuid    not null,
    design      integer not null,
    fitted_on   date    not null,
    change_no   bigint  not null,
    rates       json    not null,
    taken_until timestamptz,
    constraint rate_fit_pkey primary key (group_id, design),
    constraint rate_fit_group foreign key (group_id) references groups on delete cascade
);
comment on column rate_fit.change_no is 'The last change that the fit knows.';
comment on column rate_fit.rates is 'pricing.Rates; not jsonb, which rewrites numbers: every replica is to read the same bits.';
comment on column rate_fit.taken_until is 'Until when somebody may be fitting anew, for all others to leave it.';

create table listing_deleted (
    group_id   uuid   not null,
    listing_id uuid   not null,
    change_no  bigint not null,
    constraint listing_deleted_pkey primary key (group_id, listing_id),
    constraint listing_deleted_group foreign key (group_id) references groups on delete cascade
);
comment on table listing_deleted is 'Written with each deletion, so that whoever follows the change numbers notices it.';
create index listing_deleted_since on listing_deleted (group_id, change_no);

do $$
declare
    t text;
    here constant text := 'group_id = nullif(current_setting(''app.group_id'', true), '''')::uuid';
begin
    foreach t in array array['value_statistics', 'sale_row', 'rate_fit', 'listing_deleted'] loop
        execute format('alter table %I enable row level security', t);
        execute format('alter table %I force row level security', t);
        execute format('create policy of_the_owner on %I to askwright_owner using (true) with check (true)', t);
        execute format('create policy of_the_group on %I to askwright_app using (%s) with check (%s)', t, here, here);
    end loop;
end $$;

grant select, insert, update, delete on value_statistics, sale_row, rate_fit to askwright_app;
grant select, insert on listing_deleted to askwright_app;

-- An event is deleted with its listing, and with it what voids it.
create index event_voiding on event (group_id, voids) where voids is not null;
