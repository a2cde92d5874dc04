-- What comparables are ranked by, in the indexes that find them: the search reads
-- no row of the table. Parts are separated by U+001F; db/near.go reads them.
-- Items of more than 900 bytes are left out, as an entry of an index is bounded:
-- such a set is ranked by its main item.

alter table listing add column ranked_by text generated always as (
    coalesce(set_size::text, '')
    || E'\x1f' || case when octet_length(items) <= 900 then translate(items, E'\x1e\x1f', '') else '' end
    || E'\x1f' || coalesce(trim_scale(width)::text, '')
    || E'\x1f' || coalesce(trim_scale(depth)::text, '')
    || E'\x1f' || coalesce(trim_scale(height)::text, '')
    || E'\x1f' || unit
    || E'\x1f' || translate(material, E'\x1e\x1f', '')
    || E'\x1f' || translate(wood, E'\x1e\x1f', '')
    || E'\x1f' || coalesce(condition::text, '')
    || E'\x1f' || translate(finish, E'\x1e\x1f', '')
    || E'\x1f' || translate(color, E'\x1e\x1f', '')
    || E'\x1f' || translate(hardware, E'\x1e\x1f', '')
    || E'\x1f' || coalesce(outcome, '')
    || E'\x1f' || case when source = 'observed' then 'observed' else '' end
    || E'\x1f' || coalesce((listed_on - date '0001-01-01')::text, '')
    || E'\x1f' || coalesce((ask_on[cardinality(ask_on)] - date '0001-01-01')::text, '')
    || E'\x1f' || coalesce((ended_on - date '0001-01-01')::text, '')
    || E'\x1f' || coalesce((last_seen_on - date '0001-01-01')::text, '')
) stored;
comment on column listing.ranked_by is 'What comparables are ranked by; days count from 0001-01-01.';

drop index listing_sold_near;
drop index listing_unsold_near;
create index listing_sold_near on listing (group_id, category, log_volume, listing_id) include (piece_id, ranked_by)
    where outcome = 'sold' and sale_price is not null;
create index listing_unsold_near on listing (group_id, category, log_volume, listing_id) include (piece_id, ranked_by)
    where outcome in ('open', 'withdrawn');
-- For pieces of unknown size.
create index listing_sold_newest on listing (group_id, category, ended_on, listing_id)
    where outcome = 'sold' and sale_price is not null;

-- What changed since a number is read page by page: an import gives all its rows one.
drop index listing_changed;
drop index listing_deleted_since;
create index listing_changed on listing (group_id, change_no, listing_id);
create index listing_deleted_since on listing_deleted (group_id, change_no, listing_id);
