-- Holds are events that all see; what was agreed with the buyer is the owner's.

alter table event add column owner_details jsonb not null default '{}';
comment on column event.owner_details is 'Laid over details for the listing''s owner, and left out for all others.';
create index event_holds on event (group_id, listing_id) where kind in ('hold', 'release') and voided_by is null;

-- What a mile or kilometre of delivery costs; zero: not told.
alter table group_settings add column distance_cost bigint not null default 0;
alter table group_settings add constraint distance_cost_amount check (distance_cost >= 0);
