-- An index for each order that lists of listings and of pieces are given in, on
-- the very expressions of the order: a page is read from it, and no other row.
-- They are no coalesce: row-level security lets no condition on one be answered
-- by an index.

create index listing_order_ref on listing (group_id, ref, listing_id);
create index listing_order_category on listing (group_id, category, listing_id);
create index listing_order_listed_on on listing (group_id, (case when listed_on is null then date '0001-01-01' else listed_on end), listing_id);
create index listing_order_ended_on on listing (group_id, (case when ended_on is null then date '0001-01-01' else ended_on end), listing_id);
create index listing_order_ask on listing (group_id, (case when ask is null then 0 else ask end), listing_id);
create index listing_order_sale_price on listing (group_id, (case when sale_price is null then 0 else sale_price end), listing_id);
create index piece_order_ref on piece (group_id, ref, piece_id);

create index listing_in_yard on listing (group_id, member_id) where listed_on is null and let_go is null;

drop index listing_by_day; -- listing_order_listed_on does its work
