-- A find that was passed over, and a piece that left without a sale: why, when
-- and what its seller asked. The stage or the outcome stays what it was.

alter table listing
    add column seller_ask  bigint,
    add column let_go      text,
    add column let_go_on   date,
    add column let_go_note text not null default '',
    add constraint seller_ask_positive check (seller_ask > 0),
    add constraint let_go_known check (let_go in ('price', 'condition', 'space', 'gone', 'given_away', 'kept', 'broken_up', 'other')),
    add constraint let_go_has_day check ((let_go is null) = (let_go_on is null)),
    add constraint let_go_is_noted check (let_go is not null or let_go_note = ''),
    add constraint let_go_unsold check (let_go is null or (source = 'own' and (listed_on is null or outcome = 'withdrawn'))),
    add constraint let_go_after_end check (let_go_on >= ended_on);
comment on column listing.seller_ask is 'What the seller of a find asks for it: for the group to know.';
comment on column listing.let_go is 'Why it left without a sale: price, condition, space or gone of a find that was passed over; given_away, kept or broken_up of an own piece.';
