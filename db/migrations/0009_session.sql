-- A session of the board is a short-lived key made from another one. It ends
-- with the key that it was made from.

alter table api_key add column parent_id uuid;
alter table api_key add constraint api_key_parent foreign key (group_id, parent_id) references api_key on delete cascade;
comment on column api_key.parent_id is 'Of a session: the key that it was opened with.';
