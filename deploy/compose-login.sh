#!/bin/sh
# Makes the user that the service logs in as, when the database is first made.
set -eu
psql -v ON_ERROR_STOP=1 -U postgres -d askwright -v password="$ASKWRIGHT_PASSWORD" <<'SQL'
create role askwright login password :'password';
SQL
psql -v ON_ERROR_STOP=1 -U postgres -d askwright -v owner=postgres -v login=askwright -f /roles.sql
