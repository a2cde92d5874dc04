#!/bin/sh
# Tests LibreOffice Calc against the server at ASKWRIGHT_URL; ../test.sh starts one.
set -eu
cd "$(dirname "$0")"
# The system's own Python has LibreOffice's module; another one in PATH has not.
python=/usr/bin/python3
"$python" -c 'import uno' 2>/dev/null || python=python3
exec "$python" -m unittest -v test_askwright test_exports test_guide
