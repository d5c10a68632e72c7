#!/bin/sh
# One order on the demo folder, from swatches to sheets: a lid for a celadon jar, 3 mm thick, that must hide what is in
# it. Each command is printed before it runs. `sh swatches_demo/order.sh`
set -eu
cd "$(dirname "$0")/.."
venv=${TINT_VENV:-.venv}

if [ ! -x "$venv/bin/tint" ]; then
    echo "Installing tint into $venv (once)"
    [ -x "$venv/bin/python" ] || "${PYTHON:-python3}" -m venv "$venv"
    "$venv/bin/python" -m pip install --quiet --disable-pip-version-check -e '.[sheet,pdf]'
fi
PATH="$(cd "$venv/bin" && pwd):$PATH"

run() {
    printf '\n$ %s\n' "$*"
    "$@"
}

run tint check swatches_demo
run tint order swatches_demo/orders/lid.toml
run tint weigh swatches_demo/orders/lid.toml
