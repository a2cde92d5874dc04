#!/bin/sh
# Writes a dump of all groups into a folder, with the number of rows of each
# table in the same snapshot beside it, and removes the oldest dumps.
# Usage: sh deploy/backup.sh FOLDER [KEEP]      KEEP: how many dumps stay, default 14
#        sh deploy/backup.sh --verify FOLDER    restores the newest into a scratch server
#
# The database is the one of DATABASE_URL, else the private server's. After a
# success FOLDER/last-success is touched: name it in ASKWRIGHT_BACKUP_STAMP, so
# that a missing backup raises an alert. A dump holds everybody's ledger and the
# webhooks' secrets: keep it accordingly, or name in ASKWRIGHT_BACKUP_RECIPIENT for
# whom it is to be encrypted: age1… or ssh-… by age, anything else by gpg.
# restore.sh reads it.
#
# --verify takes the askwright of ASKWRIGHT_PROGRAM, else that of bin or of PATH. It
# starts it on an empty folder, restores, checks all groups, and removes all that.
set -eu
# shellcheck source=deploy/database.sh
. "$(dirname "$0")/database.sh"

# verify_newest restores the newest dump of a folder into a server of its own.
verify_newest() {
    for dump in "$1"/askwright-*.dump*; do :; done
    [ -e "$dump" ] || fail "There is no dump in $1"
    program=${ASKWRIGHT_PROGRAM-}
    [ -n "$program" ] || program=$(dirname "$0")/../bin/askwright
    [ -x "$program" ] || program=$(command -v askwright) || fail "askwright is not there: name it in ASKWRIGHT_PROGRAM"
    scratch=$(mktemp -d) served=
    trap '[ -z "$served" ] || { kill "$served"; wait "$served" || :; }; rm -rf "$scratch"' EXIT
    trap 'exit 1' INT TERM
    chmod 711 "$scratch"
    unset DATABASE_URL
    export ASKWRIGHT_DATA="$scratch/data" ASKWRIGHT_ADDR=127.0.0.1:0 ASKWRIGHT_OPS_ADDR=
    "$program" serve >"$scratch/log" 2>&1 &
    served=$!
    until grep -q 'serving' "$scratch/log"; do
        kill -0 "$served" 2>/dev/null || fail "The scratch server did not start: $(cat "$scratch/log")"
        sleep 0.1
    done
    sh "$(dirname "$0")/restore.sh" "$dump" --replace || fail "$dump cannot be restored."
    kill "$served" && wait "$served" || :
    served=
    "$program" verify || fail "$dump was restored, but what is in it does not agree."
    echo "$dump is good."
}

if [ "${1-}" = --verify ] && [ $# -eq 2 ]; then
    verify_newest "$2"
    exit
fi
case $# in 1 | 2) ;; *) fail "Usage: sh $0 FOLDER [KEEP]" ;; esac
folder=$1 keep=${2:-14}
[ "$keep" -ge 1 ] 2>/dev/null || fail "KEEP must be a number from 1, not $keep"
find_database
mkdir -p "$folder"
umask 077
name=$folder/askwright-$(date -u +%Y%m%dT%H%M%SZ)
dump=$name.part
trap 'rm -f "$dump" "$dump.ok" "$dump.sealed" "$name.counts.part"' EXIT
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
made=$name.dump
case ${ASKWRIGHT_BACKUP_RECIPIENT-} in
'') ;;
age1* | ssh-*)
    age --encrypt -r "$ASKWRIGHT_BACKUP_RECIPIENT" -o "$dump.sealed" "$dump"
    made=$made.age
    ;;
*)
    gpg --batch --quiet --trust-model always --encrypt --recipient "$ASKWRIGHT_BACKUP_RECIPIENT" --output "$dump.sealed" "$dump"
    made=$made.gpg
    ;;
esac
[ "$made" = "$name.dump" ] || mv "$dump.sealed" "$dump"
mv "$name.counts.part" "$name.counts"
mv "$dump" "$made"
touch "$folder/last-success"

# The names tell their age, and stand in its order.
set -- "$folder"/askwright-*.dump*
while [ $# -gt "$keep" ]; do
    rm -f "$1" "${1%.dump*}.counts"
    shift
done
echo "$made"
