# shellcheck shell=sh
# What start.sh and test.sh have in common; they read it with ".".

fail() {
    printf '\n%s\n' "$*" >&2
    exit 1
}

# need_go makes sure that go is in PATH and new enough for go.mod.
need_go() {
    wanted=$(sed -n 's/^go \([0-9]*\.[0-9]*\).*/\1/p' go.mod)
    # Where Go's own instructions put it; a login shell may not know that yet.
    command -v go >/dev/null || PATH=$PATH:/usr/local/go/bin
    command -v go >/dev/null ||
        fail "Go $wanted or newer is needed and was not found. How to install it: https://go.dev/doc/install"
    # Go 1.21 and newer fetch the release that go.mod asks for, unless told not to.
    if ! { found=$(go env GOVERSION 2>&1) && is_newer "$found" "$wanted"; }; then
        fail "Go $wanted or newer is needed; here is: $found
Install a newer one (https://go.dev/doc/install), or let Go fetch it: GOTOOLCHAIN=auto sh $0"
    fi
}

# is_newer tells whether a Go version such as go1.26.3 is at least MAJOR.MINOR.
is_newer() {
    printf '%s\n' "$1" | awk -v wanted="$2" '
        { gsub(/[^0-9.]/, ""); split($0, have, "."); split(wanted, want, ".") }
        { exit !(have[1] > want[1] || (have[1] == want[1] && have[2] >= want[2])) }'
}

# has_postgresql looks where db/private looks.
has_postgresql() {
    [ -z "${ASKWRIGHT_POSTGRES_BIN-}" ] || return 0
    command -v postgres >/dev/null && return 0
    for program in /usr/lib/postgresql/*/bin/postgres /usr/pgsql-*/bin/postgres /usr/libexec/postgresql*/postgres \
        /opt/homebrew/opt/postgresql@*/bin/postgres /usr/local/opt/postgresql@*/bin/postgres \
        /Applications/Postgres.app/Contents/Versions/*/bin/postgres /usr/local/pgsql/bin/postgres; do
        [ -x "$program" ] && return 0
    done
    return 1
}

# as_root runs a command as root, and fails where that needs a password.
as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"; else sudo -n "$@"; fi
}

can_be_root() {
    [ "$(id -u)" = 0 ] || { command -v sudo >/dev/null && sudo -n true 2>/dev/null; }
}

# apt_install installs Debian packages and no others that they merely recommend.
apt_install() {
    # One unreachable source of many need not matter: the installation tells.
    as_root apt-get update -qq || true
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -qq -y --no-install-recommends "$@" >/dev/null
}

# need_certificates installs the certificates of the authorities, without which
# Go can fetch no module. It looks where Go's crypto/x509 looks on Linux.
need_certificates() {
    [ "$(uname)" = Linux ] && [ -z "${SSL_CERT_FILE-}${SSL_CERT_DIR-}" ] || return 0
    for bundle in /etc/ssl/certs/ca-certificates.crt /etc/pki/tls/certs/ca-bundle.crt /etc/ssl/ca-bundle.pem \
        /etc/pki/tls/cacert.pem /etc/pki/ca-trust/extracted/pem/tls-ca-bundle.pem /etc/ssl/cert.pem; do
        [ -s "$bundle" ] && return 0
    done
    if can_be_root && command -v apt-get >/dev/null; then
        echo "Certificates are missing; installing them: apt-get install ca-certificates ..."
        apt_install ca-certificates || true # without them Go says what it could not fetch
    fi
}

# apt_install_postgresql installs the programs only. Debian's package would also
# make a cluster and start it on port 5432, which nobody has asked for: a setting
# that lasts as long as the installation says no.
apt_install_postgresql() {
    settings=/etc/postgresql-common/createcluster.d
    as_root mkdir -p "$settings"
    echo 'create_main_cluster = false' | as_root tee "$settings/askwright.conf" >/dev/null
    installed=0
    apt_install postgresql || installed=$?
    as_root rm -f "$settings/askwright.conf"
    return "$installed"
}

# need_postgresql installs PostgreSQL where it is missing and that is allowed.
need_postgresql() {
    has_postgresql && return
    if command -v apt-get >/dev/null; then
        by_hand="apt-get install postgresql" install=apt_install_postgresql
    elif command -v dnf >/dev/null; then
        by_hand="dnf install postgresql-server" install="as_root dnf install -q -y postgresql-server"
    elif command -v apk >/dev/null; then
        by_hand="apk add postgresql" install="as_root apk add -q postgresql"
    elif command -v brew >/dev/null; then
        by_hand="brew install postgresql@17" install=$by_hand
    else
        by_hand="with this system's package manager" install=false
    fi
    if can_be_root || [ "$install" = "$by_hand" ]; then
        echo "PostgreSQL is missing; installing its programs: $by_hand ..."
        $install || true # the next line looks
    fi
    has_postgresql || fail "PostgreSQL 15 or newer is needed and could not be installed from here. Install it as root:
  $by_hand
or set ASKWRIGHT_POSTGRES_BIN to the folder that holds its programs, or DATABASE_URL to a
running server. Then run this again."
}

# need_prometheus looks for the programs of Prometheus, with which the metrics,
# rules and dashboard are tested, and unpacks them into bin/ where they are
# missing: Debian's package would also start a server.
need_prometheus() {
    command -v prometheus >/dev/null && command -v promtool >/dev/null && return
    [ -x bin/prometheus ] && [ -x bin/promtool ] && return
    if command -v apt-get >/dev/null && command -v dpkg-deb >/dev/null; then
        echo "Prometheus is missing; unpacking its programs into bin/ ..."
        ! can_be_root || as_root apt-get update -qq || true
        unpacked=$(mktemp -d)
        (cd "$unpacked" && apt-get download -qq prometheus >/dev/null 2>&1 && dpkg-deb -x prometheus_*.deb .) || true
        mkdir -p bin
        mv "$unpacked/usr/bin/prometheus" "$unpacked/usr/bin/promtool" bin/ 2>/dev/null || true
        rm -rf "$unpacked"
    elif command -v brew >/dev/null; then
        echo "Prometheus is missing; installing it: brew install prometheus ..."
        brew install prometheus || true # the next lines look
    fi
    { command -v prometheus >/dev/null && command -v promtool >/dev/null; } || { [ -x bin/prometheus ] && [ -x bin/promtool ]; } ||
        fail "Prometheus is needed for the tests and could not be fetched from here. Put the programs prometheus and
promtool into PATH or into bin/; then run this again."
}

# need_browser installs Chromium, which looks at the board in the tests, and npm,
# which fetches the library that judges its accessibility.
need_browser() {
    missing=
    command -v chromium >/dev/null || command -v google-chrome >/dev/null || missing="$missing chromium"
    command -v npm >/dev/null || missing="$missing npm"
    if [ -n "$missing" ] && can_be_root && command -v apt-get >/dev/null; then
        echo "Installing with apt-get, for the tests of the board:$missing ..."
        # shellcheck disable=SC2086 # a list of words
        apt_install $missing || true # what is missing shows below
    fi
    command -v chromium >/dev/null || command -v google-chrome >/dev/null ||
        fail "Chromium is needed for the tests of the board: install it (Debian: sudo apt-get install chromium)."
    command -v npm >/dev/null || fail "npm is needed for the tests of the board: install it (Debian: sudo apt-get install npm)."
}
