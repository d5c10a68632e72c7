"""An order killed at any moment: what stands is whole, the ledger too, and the next run makes what is missing.

    python tests/figures/order_kills.py [--kills 100] [--seed 1]

Before each run the colour of the order is edited, so that recipe, sheets and ledger are all written. The kill falls
between the start of `tint order` and a little past its usual end, in a process that has its modules already.
"""

from __future__ import annotations

import argparse
import json
import random
import signal
import tempfile
from collections import Counter
from pathlib import Path

from kills import Bench, ledger_sound

from tint.orders import run_order

ORDER = """format = 1
lab = [{light}, -12, 8]
walls_mm = [3]
batch_g = 120
parts = 3
price = 12.5
base = "clear"
customer = "the tea house"

[limits]
most_pigments = 2
"""
ENDS = {".pdf": b"%%EOF", ".png": b"IEND\xaeB`\x82", ".html": b"</html>", ".csv": b"\n"}


def broken(folder: Path) -> list[str]:
    """Files of an order that are not whole."""
    found = []
    for path in [folder / "orders" / "lid.recipe.json", *(folder / "orders" / "lid").glob("*")]:
        if not path.exists() or ".tint-" in path.name:
            continue
        data = path.read_bytes()
        if path.suffix == ".json":
            try:
                json.loads(data)
            except ValueError:
                found.append(path.name)
        elif not data.rstrip(b"\n").endswith(ENDS[path.suffix].rstrip(b"\n")) or not data:
            found.append(path.name)
    return found


def main() -> None:
    """Kill, look, run again, look."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--kills", type=int, default=100)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    rng, done = random.Random(given.seed), Counter[str]()
    with tempfile.TemporaryDirectory() as place:
        bench = Bench(Path(place))
        order = bench.folder / "orders" / "lid.toml"
        order.parent.mkdir()
        told = ("order", str(order), "--optics", "two-flux")
        order.write_text(ORDER.format(light=70), encoding="utf-8")
        usual = bench.usual_s(told)
        for at in range(given.kills):
            order.write_text(ORDER.format(light=60 + at % 20 + 0.1 * (at // 20)), encoding="utf-8")
            status, _ = bench.stopped(told, rng.uniform(0.0, 1.1) * usual, signal.SIGKILL)
            done["ended first"] += status == 0
            done["half written"] += bool(broken(bench.folder))
            done["ledger unsound"] += not ledger_sound(bench)[0]
            if at % 4 == 3:  # the others pile up
                again = run_order(order, optics="two-flux")
                done["taken for a maker's own"] += bool(again.made.left)
                done["made again after it"] += bool(run_order(order, optics="two-flux").made.written)
                done["run again"] += 1
    print(f"{given.kills} kills of an order, {usual:.1f} s long: {dict(done)}")


if __name__ == "__main__":
    main()
