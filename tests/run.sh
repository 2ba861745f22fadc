#!/usr/bin/env bash
# Prepares this machine where needed, then checks everything: style, types, tests.
#
#   bash tests/run.sh                      everything
#   bash tests/run.sh tests/music -x       what follows goes to pytest
#
# Screenshots of the page are kept in $STATION_SHOTS, .work/shots unless set.
set -uo pipefail

# shellcheck source=hw/prepare.sh
source "$(dirname -- "${BASH_SOURCE[0]}")/../hw/prepare.sh"

failed=()

main() {
    prepare tests || exit 1
    cd -- "$project" || exit 1
    export STATION_SHOTS=${STATION_SHOTS:-$work/shots}
    mkdir -p -- "$STATION_SHOTS" || exit 1

    check "Lint" ruff check .
    check "Format" ruff format --check .
    check "Types" mypy
    # Many tests wait for sound in real time: three at once, a file each, keep two cores busy.
    check "Tests" pytest -n 3 --dist loadfile "$@"

    if ((${#failed[@]} > 0)); then
        complain "Failed: ${failed[*]}"
        exit 1
    fi
    say "All well."
}

# Later checks still run after one has failed: one run says all there is to mend.
check() {
    local what=$1 tool=$2 began=$SECONDS
    shift 2
    say "== $what"
    "$venv/bin/$tool" "$@" || failed+=("$what")
    say "== $what took $((SECONDS - began)) s"
}

main "$@"
