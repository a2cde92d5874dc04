-- The look that is planned for a piece in the yard or a find: kept with it, so
-- that what to pay for it and what to do with it can be asked again.

alter table listing
    add column planned_finish text not null default '',
    add column planned_color  text not null default '';
comment on column listing.planned_finish is 'The finish that it is to be given; empty: none is planned.';
