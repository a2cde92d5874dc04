# shellcheck shell=sh
# What backup.sh and restore.sh have in common; they read it with ".".

fail() {
    printf '%s\n' "$*" >&2
    exit 1
}

# find_database sets DATABASE_URL where it is not set: to the private server,
# whose socket folder is the fifth line of its postmaster.pid.
find_database() {
    [ -z "${DATABASE_URL-}" ] || return 0
    data=${ASKWRIGHT_DATA-}
    if [ -z "$data" ]; then
        if [ "$(id -u)" = 0 ]; then data=/var/lib/askwright; else data=${XDG_DATA_HOME:-$HOME/.local/share}/askwright; fi
    fi
    socket=$(sed -n 5p "$data/postgresql/postmaster.pid" 2>/dev/null) || true
    [ -n "$socket" ] || fail "No server runs on the data folder $data: start askwright, or set DATABASE_URL (as an
administrator or as a user who may act as askwright_owner)."
    DATABASE_URL="postgresql://postgres@/askwright?host=$(printf %s "$socket" | sed 's/%/%25/g; s/ /%20/g; s/&/%26/g')"
}

# sql runs psql on its arguments and on standard input.
sql() { psql -X -q -A -t -F ' ' -v ON_ERROR_STOP=1 -d "$DATABASE_URL" "$@"; }

# Counting all rows takes the owner's role: everybody else is shown one group.
# shellcheck disable=SC2034 # the scripts use it
count_rows="set role askwright_owner;
select format('select %L, count(*) from askwright.%I', tablename, tablename)
from pg_tables where schemaname = 'askwright' order by tablename \\gexec
reset role;"
