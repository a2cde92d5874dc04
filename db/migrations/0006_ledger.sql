-- Cost lines recorded one by one, with what they were for, and undone by
-- another line; fees by venue.

alter table cost_line
    add column step  text not null default '',
    add column note  text not null default '',
    add column voids uuid,
    add constraint cost_line_voids foreign key (group_id, voids) references cost_line on delete cascade,
    add constraint cost_line_voided_once unique (group_id, voids),
    add constraint step_is_of_hours check (step = '' or kind in ('hours', 'hours_other'));
comment on column cost_line.step is 'Of hours: strip, sand, paint ...';
comment on column cost_line.voids is 'The line that this one takes back, with the opposite amount and the same day.';

alter table group_settings add column venue_fees jsonb not null default '[]';
comment on column group_settings.venue_fees is 'By venue and the day from which they hold: what share of the sale price the venue keeps.';
