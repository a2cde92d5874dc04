-- Puts listings of one group on file, as a workshop of some years has them: $1 is
-- the group, $2 how many. All is drawn from the number of the listing, so that
-- each run has the same ones. Two in three are sold, one in four was taken back,
-- and one in twelve is open; prices follow sizes, finishes and days.
with
    numbered as (
        select
            m.group_id, m.member_id, i,
            md5(m.group_id::text || i)::uuid as id,
            'M-' || lpad(i::text, 7, '0') as ref,
            i % 10 as kind,
            (i * 7919::bigint % 9973) / 9973.0 as u, -- evenly between 0 and 1
            (i * 104729::bigint % 7919) / 7919.0 as v,
            (i * 15485863::bigint % 6133) / 6133.0 as w,
            case when i % 12 = 0 then 'open' when i % 4 = 1 then 'withdrawn' else 'sold' end as outcome
        from (select * from askwright.member where group_id = $1::uuid limit 1) m, generate_series(1, $2::integer) i
    ),
    dated as (
        select
            n.*,
            current_date - case outcome when 'open' then (50 * u)::integer else 60 + (900 * u)::integer end as listed_on,
            case outcome when 'open' then null when 'withdrawn' then 58 else least(59, (-ln(1 - 0.98 * v) * 25)::integer) end as days,
            60 + 120 * v as width, 35 + 25 * w as depth, 60 + 90 * u as height
        from numbered n
    ),
    priced as (
        select
            d.*,
            (6000 + 9000 * kind) * (width * depth * height / 400000) ^ 0.45 * exp(0.5 * (w - 0.5))
                * case when i % 3 = 0 then 1.2 else 1 end as worth
        from dated d
    ),
    pieces as (
        insert into askwright.piece (group_id, piece_id, member_id, ref)
        select group_id, id, member_id, ref from priced
    ),
    costs as (
        insert into askwright.cost_line (group_id, line_id, listing_id, member_id, kind, amount, on_date, at, change_no)
        select group_id, md5(id::text || kinds.kind)::uuid, id, member_id, kinds.kind, kinds.amount + i % 200, listed_on, now(), 1
        from priced, (values ('hours', 300), ('materials_cost', 2500), ('purchase_cost', 4000)) kinds (kind, amount)
        where i % 5 = 0
    )
insert into askwright.listing (
    group_id, listing_id, piece_id, member_id, revision, change_no, ref, source, category, width, depth, height, unit,
    material, wood, style, condition, finish, color, venue, listed_on, ask_on, ask_amount, views, messages,
    outcome, ended_on, sale_price
)
select
    group_id, id, id, member_id, 1, 1, ref, 'own',
    (array['desk', 'sideboard', 'dresser', 'nightstand', 'coffee_table', 'bookcase', 'dining_table', 'armchair', 'console_table', 'vanity'])[1 + kind],
    round(width::numeric, 1), round(depth::numeric, 1), round(height::numeric, 1), 'cm',
    'solid_wood', (array['oak', 'walnut', 'pine'])[1 + i % 3], '', 2 + i % 4,
    case when i % 3 = 0 then 'painted' else 'clear' end, case when i % 3 = 0 then 'navy' else '' end, 'market',
    listed_on, array[listed_on], array[greatest(1000, 100 * round(worth * (1 + 0.2 * v) / 100))::bigint],
    20 + i % 80, case when outcome = 'sold' then 2 + i % 5 else i % 4 end,
    outcome, listed_on + days, case when outcome = 'sold' then greatest(1000, 100 * round(worth / 100))::bigint end
from priced
