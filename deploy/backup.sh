#!/bin/sh
# Writes a dump of all groups into a folder, with the number of rows of each
# table in the same snapshot beside it, and removes the oldest dumps.
# Usage: sh deploy/backup.sh FOLDER [KEEP]      KEEP: how many dumps stay, default 14
#
# The database is the one of DATABASE_URL, else the private server's. After a
# success FOLDER/last-success is touched: name it in ASKWRIGHT_BACKUP_STAMP, so
# that a missing backup raises an alert. A dump holds everybody's ledger and the
# webhooks' secrets: keep it accordingly. restore.sh reads it.
set -eu
# shellcheck source=deploy/database.sh
. "$(dirname "$0")/database.sh"

case $# in 1 | 2) ;; *) fail "Usage: sh $0 FOLDER [KEEP]" ;; esac
folder=$1 keep=${2:-14}
[ "$keep" -ge 1 ] 2>/dev/null || fail "KEEP must be a number from 1, not $keep"
find_database
mkdir -p "$folder"
umask 077
name=$folder/askwright-$(date -u +%Y%m%dT%H%M%SZ)
dump=$name.part
trap 'rm -f "$dump" "$dump.ok" "$name.counts.part"' EXIT
export DATABASE_URL dump

# The counting transaction lends its snapshot to pg_dump. With --role it sees all
# rows by the owner's policy, although row-level security is forced.
sql -o "$name.counts.part" <<SQL
begin isolation level repeatable read read only;
select pg_export_snapshot() as snapshot \gset
\setenv SNAPSHOT :snapshot
$count_rows
\! pg_dump -d "\$DATABASE_URL" --role=askwright_owner --enable-row-security --schema=askwright --format=custom --snapshot="\$SNAPSHOT" --file="\$dump" && : >"\$dump.ok"
commit;
SQL
[ -e "$dump.ok" ] || fail "pg_dump failed; the reason stands above."
pg_restore --list "$dump" >/dev/null
mv "$name.counts.part" "$name.counts"
mv "$dump" "$name.dump"
touch "$folder/last-success"

# The names tell their age, and stand in its order.
set -- "$folder"/askwright-*.dump
while [ $# -gt "$keep" ]; do
    rm -f "$1" "${1%.dump}.counts"
    shift
done
echo "$name.dump"
