#!/bin/sh
# Builds askwright, starts it with a private PostgreSQL of its own in a temporary
# folder, and does to it what breaks others: kills, readers that do not read, a
# flood of one group beside another, bodies of commas. Prints what came of it and
# ends with 1 where something acknowledged was lost or doubled, or a row of another
# group was seen.
# Usage: sh deploy/faults/run.sh [-rows 20000] [-kills 20]
set -eu
cd "$(dirname "$0")/../.."
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
go build -o "$scratch/askwright" ./service/cmd/askwright
go build -o "$scratch/faults" ./deploy/faults
"$scratch/faults" -program "$scratch/askwright" "$@"
