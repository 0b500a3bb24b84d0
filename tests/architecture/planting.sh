# Sourced by the gate tests: a scratch copy to plant violations in, and claims about what a gate says of it.
set -eu
root=$1
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
claims=0

# Prints both sides and stops: a gate test that fails must say what it saw.
wrong() {
    printf 'WRONG: %s\n--- the gate said:\n' "$1"
    cat "$scratch/said"
    exit 1
}

# passes "WHAT" COMMAND...
passes() {
    local what=$1
    shift
    "$@" >"$scratch/said" 2>&1 || wrong "$what: should pass"
    claims=$((claims + 1))
}

# bites "WHAT" "TEXT IT SAYS" COMMAND...
bites() {
    local what=$1 text=$2
    shift 2
    if "$@" >"$scratch/said" 2>&1; then wrong "$what: should fail"; fi
    grep -qE -e "$text" "$scratch/said" || wrong "$what: fails without saying \"$text\""
    claims=$((claims + 1))
}

finish() { echo "$claims claims hold"; }
