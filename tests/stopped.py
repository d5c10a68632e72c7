"""A run of an order that is stopped while it writes."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from tint.files import write_whole
from tint.orders import run_order


def stopped_at(name: str, order: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Run an order, stopped when the file of this name is to be written."""

    def stops(contents: Mapping[Path, bytes]) -> None:
        for path, data in contents.items():
            if path.name == name:
                raise KeyboardInterrupt
            write_whole(path, data)

    with monkeypatch.context() as patch:
        patch.setattr("tint.orders.record.write_all", stops)
        with pytest.raises(KeyboardInterrupt):
            run_order(order)
