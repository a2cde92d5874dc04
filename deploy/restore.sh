#!/bin/sh
# Restores a dump of backup.sh and compares the number of rows of each table.
# Usage: sh deploy/restore.sh FOLDER/askwright-TIME.dump [--replace]
#
# The database is the one of DATABASE_URL, else the private server's, and its
# user an administrator. What is there is replaced only with --replace, and
# stays as it was if anything fails. Then run "askwright migrate" (which also
# lets the service's user in) and start askwright again.
set -eu
# shellcheck source=deploy/database.sh
. "$(dirname "$0")/database.sh"

[ $# -eq 1 ] || [ "${2-}" = --replace ] || fail "Usage: sh $0 DUMP [--replace]"
dump=$1 counts=${1%.dump}.counts
for file in "$dump" "$counts"; do
    [ -r "$file" ] || fail "$file cannot be read"
done
find_database

is_there=$(sql -c "select count(*) from pg_namespace where nspname = 'askwright'")
[ "$is_there" = 0 ] || [ "${2-}" = --replace ] ||
    fail "There is an Askwright in this database already. Restore into an empty one, or replace it: sh $0 $dump --replace"

sql <<'SQL'
select 'create role askwright_owner nologin' where not exists (select from pg_roles where rolname = 'askwright_owner') \gexec
select 'create role askwright_app nologin' where not exists (select from pg_roles where rolname = 'askwright_app') \gexec
select format('grant create on database %I to askwright_owner', current_database()) \gexec
SQL
before=askwright_before_restore
undo() {
    sql -c "set client_min_messages = error; drop schema if exists askwright cascade"
    [ "$is_there" = 0 ] || sql -c "alter schema $before rename to askwright"
    fail "Nothing was restored: $1"
}
[ "$is_there" = 0 ] || sql -c "alter schema askwright rename to $before"
# One transaction restores and counts: a program that still runs writes nothing
# in between. A dump that breaks off is not counted.
restored=$({
    echo '\o /dev/null'
    pg_restore -f - "$dump" && printf '\\o\nset row_security = on;\n%s\n' "$count_rows"
} | sql --single-transaction) && [ -n "$restored" ] || undo "the reason stands above."
if [ "$restored" != "$(cat "$counts")" ]; then
    printf 'There were:\n%s\nThere are:\n%s\n' "$(cat "$counts")" "$restored" >&2
    undo "the numbers of rows differ."
fi
[ "$is_there" = 0 ] || sql -c "set client_min_messages = error; drop schema $before cascade"
printf '%s\nRestored. Now run "askwright migrate" and start askwright again.\n' "$restored"
