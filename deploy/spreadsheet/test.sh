#!/bin/sh
# Tests what spreadsheets use, against a running server: the online script under
# Node, LibreOffice Calc itself. Usage: sh deploy/spreadsheet/test.sh [online|calc|pictures ...]
# pictures makes those of docs/spreadsheet.md anew.
set -eu
cd "$(dirname "$0")/../.."

scratch=$(mktemp -d)
chmod 755 "$scratch" # the private database runs as another user
server=
finish() {
    [ -z "$server" ] || { kill "$server" && wait "$server" || true; }
    rm -rf "$scratch"
}
trap finish EXIT
trap 'exit 130' INT
trap 'exit 143' TERM

go build -o "$scratch/askwright" ./service/cmd/askwright
port=$(python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')
export ASKWRIGHT_DATA="$scratch/data" ASKWRIGHT_ADDR="127.0.0.1:$port" ASKWRIGHT_OPS_ADDR='' ASKWRIGHT_LOG_LEVEL=warn ASKWRIGHT_WEBHOOKS=on
export ASKWRIGHT_URL="http://127.0.0.1:$port" ASKWRIGHT_PROGRAM="$scratch/askwright"
"$scratch/askwright" serve >"$scratch/server.log" 2>&1 &
server=$!
tries=0
until curl -fs -o /dev/null "$ASKWRIGHT_URL/readyz"; do
    tries=$((tries + 1))
    [ "$tries" -lt 300 ] && kill -0 "$server" || { cat "$scratch/server.log" >&2; exit 1; }
    sleep 0.2
done

[ $# -gt 0 ] || set -- online calc
for name; do
    case $name in
    online) node --test deploy/spreadsheet/online/ ;;
    calc) sh deploy/spreadsheet/calc/test.sh ;;
    pictures) /usr/bin/python3 deploy/spreadsheet/calc/make_pictures.py docs/pictures ;;
    *) echo "Unknown part $name; there are: online calc pictures" >&2 && exit 1 ;;
    esac
done
