#!/bin/sh
# One order on the demo folder, from swatches to proof: a lid for a celadon jar, 3 mm thick, that must hide what is
# in it. Each command is printed before it runs. `sh swatches_demo/order.sh [FOLDER FOR THE RESULTS]`
set -eu
cd "$(dirname "$0")/.."
venv=${TINT_VENV:-.venv}
out=${1:-${TMPDIR:-/tmp}/tint-order-$(id -u)}

if [ ! -x "$venv/bin/tint" ]; then
    echo "Installing tint into $venv (once)"
    [ -x "$venv/bin/python" ] || "${PYTHON:-python3}" -m venv "$venv"
    "$venv/bin/python" -m pip install --quiet --disable-pip-version-check -e .
fi
PATH="$(cd "$venv/bin" && pwd):$PATH"

show() {
    printf '\n$ %s\n' "$*"
}

run() {
    show "$@"
    "$@"
}

mkdir -p "$out"
recipe=$out/lid.json
proof=$out/lid.png
colour="--target-lab 70,-12,8 --opacity solid"
solve="tint solve swatches_demo --base clear --thickness 3 $colour --most-pigments 3"

run tint check swatches_demo
run tint fit swatches_demo
run $solve
show "$solve --json > $recipe"
$solve --json > "$recipe"
run tint weigh swatches_demo --recipe "$recipe" --batch-g 120
# The picture of an earlier run of this script may go; tint itself never writes over one unasked.
run tint proof swatches_demo --recipe "$recipe" $colour --out "$proof" --replace

printf '\nThe recipe: %s\nThe proof:  %s\n' "$recipe" "$proof"
