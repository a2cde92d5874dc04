-- The two roles of the schema, for an administrator to make where the user that
-- runs "askwright migrate" may not create roles. Safe to run again.
--
--   psql -d DATABASE -v owner=USER_THAT_MIGRATES -v login=USER_THAT_SERVES -f roles.sql
--
-- The user that serves must be no superuser, must not bypass row-level security
-- and must not own the tables; askwright refuses it otherwise.
select 'create role askwright_owner nologin' where not exists (select from pg_roles where rolname = 'askwright_owner') \gexec
select 'create role askwright_app nologin' where not exists (select from pg_roles where rolname = 'askwright_app') \gexec
grant askwright_owner, askwright_app to :"owner";
grant askwright_app to :"login";
select format('grant create on database %I to askwright_owner, %I', current_database(), :'owner') \gexec
