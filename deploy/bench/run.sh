#!/bin/sh
# Measures what each kind of request takes of the processors, and how that grows
# with the listings of a group. See docs/performance.md.
# Usage: sh deploy/bench/run.sh [-sizes 1000,10000,100000] [-only REGEXP] [-json FILE] [-profiles FOLDER]
set -eu
cd "$(dirname "$0")/../.."
# shellcheck source=deploy/prepare.sh
. deploy/prepare.sh

need_go
need_postgresql
git rev-parse HEAD >/dev/null 2>&1 || export GOFLAGS="${GOFLAGS-} -buildvcs=false"
go build -o bin/bench ./deploy/bench
exec bin/bench "$@"
