-- What the group pays for the materials of a refinish.

alter table group_settings add column material_prices jsonb not null default '[]';
comment on column group_settings.material_prices is 'By product: price in minor units, size and unit of the container. Rough shop prices stand in for what is missing.';
