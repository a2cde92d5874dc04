#!/bin/sh
# Restores a dump of backup.sh and compares the number of rows of each table.
# Usage: sh deploy/restore.sh FOLDER/askwright-TIME.dump [--replace]
#
# A dump that ends in .age is decrypted with the key file of
# ASKWRIGHT_BACKUP_IDENTITY, one that ends in .gpg by gpg, as it is read.
#
# The database is the one of DATABASE_URL, else the private server's, and its
# user an administrator. What is there is replaced only with --replace, and
# stays as it was if anything fails or interrupts this. Then run "askwright migrate" (which also
# lets the service's user in) and start askwright again.
set -eu
# shellcheck source=deploy/database.sh
. "$(dirname "$0")/database.sh"

[ $# -eq 1 ] || [ "${2-}" = --replace ] || fail "Usage: sh $0 DUMP [--replace]"
dump=$1 counts=${1%.dump*}.counts
for file in "$dump" "$counts"; do
    [ -r "$file" ] || fail "$file cannot be read"
done
find_database

# opened prints the dump as SQL.
opened() {
    case $dump in
    *.age) age --decrypt -i "${ASKWRIGHT_BACKUP_IDENTITY:?names the key file}" "$dump" | pg_restore -f - ;;
    *.gpg) gpg --batch --quiet --decrypt "$dump" | pg_restore -f - ;;
    *) pg_restore -f - "$dump" ;;
    esac
}

is_there=$(sql -c "select count(*) from pg_namespace where nspname = 'askwright'")
[ "$is_there" = 0 ] || [ "${2-}" = --replace ] ||
    fail "There is an Askwright in this database already. Restore into an empty one, or replace it: sh $0 $dump --replace"

before=askwright_before_restore
put_away=$(sql -c "select count(*) from pg_namespace where nspname = '$before'")
[ "$put_away" = 0 ] || fail "A restore of an older Askwright was interrupted. What was there before it is in the schema $before.
Look at it first. To bring it back, once no schema askwright is in its way: alter schema $before rename to askwright"

sql <<'SQL'
select 'create role askwright_owner nologin' where not exists (select from pg_roles where rolname = 'askwright_owner') \gexec
select 'create role askwright_app nologin' where not exists (select from pg_roles where rolname = 'askwright_app') \gexec
select format('grant create on database %I to askwright_owner', current_database()) \gexec
SQL
# One transaction puts away what is there, restores, counts and drops what was put
# away: whatever ends this script before the last line leaves all as it was. A
# dump that breaks off never gets there, and a program that still runs waits.
COUNTS=$counts COUNTED=$(mktemp)
export COUNTS COUNTED
trap 'rm -f "$COUNTED"' EXIT
{
    echo 'begin;'
    [ "$is_there" = 0 ] || cat <<SQL
select 'lock table askwright.groups in access exclusive mode' where to_regclass('askwright.groups') is not null \gexec
alter schema askwright rename to $before;
SQL
    echo '\o /dev/null'
    opened && cat <<SQL
\o
set row_security = on;
\getenv counted COUNTED
\o :counted
$count_rows
\o
\set same \`[ "\$(cat "\$COUNTED")" = "\$(cat "\$COUNTS")" ] && echo yes || echo no\`
\if :same
\else
do 'begin raise exception \$\$the numbers of rows differ\$\$; end';
\endif
set client_min_messages = error;
drop schema if exists $before cascade;
commit;
select 'restored';
SQL
} | sql >"$COUNTED.end" || true
trap 'rm -f "$COUNTED" "$COUNTED.end"' EXIT
if [ "$(cat "$COUNTED.end")" != restored ]; then
    [ ! -s "$COUNTED" ] || printf 'There were:\n%s\nThere are:\n%s\n' "$(cat "$counts")" "$(cat "$COUNTED")" >&2
    fail "Nothing was restored: the reason stands above."
fi
restored=$(cat "$COUNTED")
printf '%s\nRestored. Now run "askwright migrate" and start askwright again.\n' "$restored"
