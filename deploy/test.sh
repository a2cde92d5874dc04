#!/bin/sh
# Checks everything: format, vet, lint, generated files, tests with the race
# detector and coverage. Installs what the checks need.
# Usage: sh deploy/test.sh [STEP ...]    steps: format vet lint generated test spreadsheet
set -eu
cd "$(dirname "$0")/.."
# shellcheck source=deploy/prepare.sh
. deploy/prepare.sh

linter=github.com/golangci/golangci-lint/v2/cmd/golangci-lint@v2.15.0

format() {
    unformatted=$(gofmt -l api service pricing db docs deploy)
    [ -z "$unformatted" ] || fail "gofmt would change these files; run gofmt -w on them:
$unformatted"
}

vet() { go vet ./...; }

lint() { go run "$linter" run ./...; }

# generated compares the description of the API with one made just now.
generated() {
    cp docs/openapi*.json "$scratch"
    go generate ./api >"$scratch/generate.log" 2>&1 || fail "go generate ./api: $(cat "$scratch/generate.log")"
    for file in openapi.json openapi-3.0.json; do
        cmp -s "docs/$file" "$scratch/$file" ||
            fail "docs/$file was not up to date with the comments in api. It has just been made anew: commit it."
    done
}

# test_all runs every test with the race detector, and those that leave work out
# under it once more without. A statement counts as covered by whichever
# package's tests reach it; those of pricing, which run hot, are counted in the
# second run alone: under the detector that takes minutes.
test_all() {
    go test -race -timeout 12m -coverpkg=./api/...,./db/...,./docs/...,./service/... -coverprofile="$scratch/race.out" ./...
    go test -timeout 12m -coverpkg=./pricing/... -coverprofile="$scratch/pricing.out" ./pricing/...
    coverage "$scratch/race.out" "$scratch/pricing.out"
}

# coverage sums up profiles by package; support code for tests is left out.
coverage() {
    printf '\nStatements covered by tests\n'
    awk '
        FNR > 1 && $1 !~ /\/(dbtest|servicetest|pricing\/internal\/[a-z]+)\// { statements[$1] = $2; if ($3 > 0) covered[$1] = $2 }
        END {
            for (block in statements) {
                package = block
                sub(/\/[^\/]*$/, "", package)
                all[package] += statements[block]; hit[package] += covered[block]
                sum += statements[block]; sumHit += covered[block]
            }
            for (package in all) printf "  %5.1f %%  %s\n", 100 * hit[package] / all[package], package | "sort -k 3"
            close("sort -k 3")
            if (sum) printf "  %5.1f %%  total\n", 100 * sumHit / sum
        }' "$@"
}

# spreadsheet runs the scripts for spreadsheets against a server, one of them in
# LibreOffice Calc itself.
spreadsheet() {
    missing=
    command -v node >/dev/null || missing="$missing nodejs"
    command -v curl >/dev/null || missing="$missing curl"
    command -v python3 >/dev/null || missing="$missing python3"
    command -v soffice >/dev/null || missing="$missing libreoffice-calc-nogui"
    /usr/bin/python3 -c 'import uno' 2>/dev/null || missing="$missing python3-uno"
    ls /usr/lib/libreoffice/program/pythonscript.py >/dev/null 2>&1 || missing="$missing libreoffice-script-provider-python"
    if [ -n "$missing" ] && can_be_root && command -v apt-get >/dev/null; then
        echo "Installing with apt-get:$missing ..."
        # shellcheck disable=SC2086 # a list of words
        apt_install $missing || true # what is missing shows below
    fi
    for program in node curl python3 soffice; do
        command -v "$program" >/dev/null || fail "The tests of the spreadsheets need $program. On Debian: sudo apt-get install$missing"
    done
    sh deploy/spreadsheet/test.sh
}

step() {
    name=$1
    shift
    printf '\n== %s\n' "$name"
    began=$(date +%s)
    "$@"
    printf '== %s: ok, %d s\n' "$name" "$(($(date +%s) - began))"
}

scratch=$(mktemp -d)
verdict="Failed."
finish() {
    rm -rf "$scratch"
    printf '\n%s\n' "$verdict"
}
trap finish EXIT
trap 'exit 130' INT
trap 'exit 143' TERM

need_go
need_certificates
need_postgresql
need_prometheus
need_browser
# The race detector needs a C compiler.
if [ "$(go env CGO_ENABLED)" = 0 ] || ! command -v "$(go env CC)" >/dev/null; then
    if can_be_root && command -v apt-get >/dev/null; then
        echo "Installing a C compiler with apt-get, for the race detector ..."
        apt_install gcc libc6-dev
    fi
    command -v gcc >/dev/null || command -v clang >/dev/null ||
        fail "The race detector needs a C compiler: install gcc (Debian: sudo apt-get install gcc libc6-dev)."
    export CGO_ENABLED=1
fi
git rev-parse HEAD >/dev/null 2>&1 || export GOFLAGS="${GOFLAGS-} -buildvcs=false"
go mod download

[ $# -gt 0 ] || set -- format vet lint generated test spreadsheet
for name; do
    case $name in
    format | vet | lint | generated | spreadsheet) step "$name" "$name" ;;
    test) step test test_all ;;
    *) fail "Unknown step $name; there are: format vet lint generated test spreadsheet" ;;
    esac
done
verdict="All checks passed."
