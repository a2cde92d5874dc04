#!/bin/sh
# Builds Askwright, makes a demo group to play with, and serves it until Ctrl-C.
# Usage: sh deploy/start.sh
#
# PostgreSQL's programs are installed where they are missing; the server that is
# started from them is private: its data folder and socket are Askwright's own.
# The settings are the program's environment variables; README.md lists them.
set -eu
cd "$(dirname "$0")/.."
# shellcheck source=deploy/prepare.sh
. deploy/prepare.sh

address=${ASKWRIGHT_ADDR:-127.0.0.1:8080}
port=${address##*:}
case ${address%:*} in
'' | 0.0.0.0) url=http://127.0.0.1:$port ;;
'[::]') url="http://[::1]:$port" ;;
*) url=http://$address ;;
esac

echo "Askwright: builds bin/askwright, makes a demo group, serves it on $url."
need_go
need_certificates
[ -n "${DATABASE_URL-}" ] || need_postgresql

# Without a repository that git trusts there is no revision to build in.
git rev-parse HEAD >/dev/null 2>&1 || export GOFLAGS="${GOFLAGS-} -buildvcs=false"
echo "Building (a minute or two the first time) ..."
CGO_ENABLED=0 go build -o bin/ ./service/cmd/askwright

cat <<END

Once it serves, a key of the demo group Millrace Lane is printed below. With it, in another terminal:
  KEY=ask_a...
  curl -H "Authorization: Bearer \$KEY" '$url/v1/listings?limit=3'
  curl -H "Authorization: Bearer \$KEY" '$url/v1/reviews?state=stale'
  curl -H "Authorization: Bearer \$KEY" -H 'Content-Type: application/json' $url/v1/suggestions -d '{"subjects": [{"category": "sideboard", "width": "60", "depth": "18", "height": "32", "finish": "painted", "color": "navy"}], "within_days": 30}'

All that it can do: $url/docs/index.html
Ctrl-C stops it. A second one beside it takes other addresses and another folder:
  ASKWRIGHT_ADDR=127.0.0.1:8090 ASKWRIGHT_OPS_ADDR=127.0.0.1:8091 ASKWRIGHT_DATA=FOLDER sh $0

END
exec bin/askwright serve --demo
