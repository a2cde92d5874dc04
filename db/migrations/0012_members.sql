-- Who made a key: an admin makes keys for others, too, and they are to see it.

alter table api_key add column made_by uuid;
alter table api_key add constraint api_key_maker foreign key (group_id, made_by) references member on delete cascade;
comment on column api_key.made_by is 'The member whose key it was made with; null: who runs the server, or before this was noted.';
