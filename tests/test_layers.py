"""Imports run one way, dear libraries stay in their rooms, and `import tint` is cheap: one table holds it all."""

from __future__ import annotations

import ast
import functools
import re
import subprocess
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

from tint import colorimetry

ROOT = Path(__file__).resolve().parents[1]
DEVELOPERS = ROOT / "DEVELOPERS.md"

# A module imports only from rows above its own; a package stands for all that is in it. DEVELOPERS.md shows the same.
LAYERS = {
    "errors": ("tint.errors", "tint.stopping"),
    "kinds": ("tint.kinds",),
    "turns": ("tint.turns",),
    "files": ("tint.files",),
    "quantities": ("tint.spectra", "tint.optics", "tint.colorimetry"),
    "least squares": ("tint.descent",),
    "forward": ("tint.forward",),
    "opacity": ("tint.opacity",),
    "ways to show": ("tint.notebook", "tint.jsonable"),
    "words": ("tint.glossary",),
    "materials": ("tint.materials",),
    "evidence": ("tint.swatches", "tint.palette"),
    "uncertainty": ("tint.uncertainty", "tint.setting"),
    "appearance": ("tint.appearance", "tint.inspection", "tint.photographs", "tint.shift"),
    "wanted": ("tint.target",),
    "thickness": ("tint.thickness", "tint.learning"),
    "jobs": ("tint.fitting", "tint.planning", "tint.weighing"),
    "solving": ("tint.recipes", "tint.checks"),
    "after solving": ("tint.trials", "tint.ledger", "tint.proofs"),
    "starting": ("tint.starting",),
    "given": ("tint.given",),
    "folders": ("tint.folders",),
    "verbs": ("tint.verbs",),
    "orders": ("tint.orders", "tint.fans"),
    "command line": ("tint.cli",),
}
ROW = {module: row for row, modules in enumerate(LAYERS.values()) for module in modules}

# What a library costs to import is paid in few rooms.
ROOMS = {
    "colour": ("tint.colorimetry",),
    "PIL": ("tint.proofs", "tint.photographs"),
    "cv2": ("tint.photographs",),
    "colour_checker_detection": ("tint.photographs",),
    "fontTools": ("tint.proofs",),
    "jinja2": ("tint.proofs",),
    "trimesh": ("tint.proofs",),
    "matplotlib": ("tint.proofs", "tint.notebook"),
    "pandas": ("tint.recipes",),
    "fpdf": ("tint.proofs",),
    "mitsuba": ("tint.proofs.traced.paths",),
    "click": ("tint.cli",),
    "rich": ("tint.cli",),
    "dask": ("tint.fans",),
    "distributed": ("tint.fans",),
    "pyarrow": ("tint.fans",),
}
# Either opens the command line; neither is a layer.
DOORS = ("tint", "tint.__main__")


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


SOURCES = {name_of(path): path for path in sorted((ROOT / "tint").rglob("*.py"))}


Node = ast.Import | ast.ImportFrom | ast.Call


def nodes_in(tree: ast.Module) -> Iterator[tuple[Node, bool]]:
    """Every import and call, in functions too, and whether it is only for those who check types, which costs nobody."""
    waiting: list[tuple[ast.AST, bool]] = [(tree, False)]
    while waiting:
        node, is_typing = waiting.pop()
        if isinstance(node, Node):
            yield node, is_typing
        is_typing |= isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"
        waiting += [(each, is_typing) for each in ast.iter_child_nodes(node) if not isinstance(each, ast.expr_context)]


@functools.cache
def found() -> dict[str, list[tuple[Node, bool]]]:
    """The same of each module: not where tests are only collected, which every worker does."""
    return {name: list(nodes_in(ast.parse(path.read_bytes()))) for name, path in SOURCES.items()}


def is_package(module: str) -> bool:
    return SOURCES[module].name == "__init__.py"


def layer_of(module: str) -> str | None:
    """The entry of the table that a module belongs to."""
    return next((entry for entry in ROW if module == entry or module.startswith(f"{entry}.")), None)


def imports_in(nodes: Iterable[ast.AST], module: str, *, package: bool) -> Iterator[tuple[int, str]]:
    """The imports of a module: the line of each and what it names."""
    for node in nodes:
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            origin = node.module or ""
            if node.level:
                here = module.split(".")[: len(module.split(".")) - node.level + package]
                origin = ".".join([*here, origin] if origin else here)
            for alias in node.names:
                inner = f"{origin}.{alias.name}"
                yield node.lineno, inner if inner in SOURCES else origin


def misplaced(module: str, imported: str) -> str:
    """What is wrong with one module of tint importing another; empty when nothing is."""
    own, other = layer_of(module), layer_of(imported)
    if module in DOORS or own == other:
        return ""
    if own is None or other is None:
        return f"{module if own is None else imported} is in no layer"
    if ROW[other] == ROW[own]:
        return f"{own} and {other} are siblings"
    return f"{own} stands below {other}" if ROW[other] > ROW[own] else ""


def test_every_module_has_a_layer() -> None:
    assert len(SOURCES) > 20
    assert [module for module in SOURCES if layer_of(module) is None and module not in DOORS] == []
    assert [entry for entry in ROW if entry not in SOURCES] == [], "the table names what is not there"


def test_every_module_can_be_the_first_of_its_layer_that_is_imported() -> None:
    # Between layers imports run one way, so that only within a layer can two modules wait for each other. What the
    # layer itself imports has been the first; each of the others is, once those after it are forgotten.
    code = (
        "import importlib, sys\n"
        "for told in sys.argv[1:]:\n"
        "    layer, *names = told.split()\n"
        "    importlib.import_module(layer)\n"
        "    first = set(sys.modules)\n"
        "    for name in names:\n"
        "        for each in [m for m in sys.modules if m.startswith(layer + '.') and m not in first]:\n"
        "            del sys.modules[each]\n"
        "        importlib.import_module(name)\n"
    )
    layers = [" ".join([layer, *(name for name in SOURCES if layer_of(name) == layer)]) for layer in ROW]
    done = subprocess.run([sys.executable, "-c", code, *layers], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.stderr == ""


def test_developers_md_shows_the_same_table() -> None:
    if not DEVELOPERS.exists():
        pytest.skip("there is no DEVELOPERS.md")
    text = DEVELOPERS.read_text("utf-8")
    rows = re.findall(r"^\|\s*([^|`]+?)\s*\|\s*((?:`tint[\w.]*`(?:,\s*)?)+)\s*\|$", text, flags=re.MULTILINE)
    shown = [(layer, tuple(re.findall(r"`(tint[\w.]*)`", modules))) for layer, modules in rows]
    assert shown == list(LAYERS.items())


def test_imports_run_one_way() -> None:
    wrong = [
        f"{module}, line {line}: {told}"
        for module in SOURCES
        for line, imported in imports_in((node for node, _ in found()[module]), module, package=is_package(module))
        if imported.split(".")[0] == "tint" and (told := misplaced(module, imported))
    ]
    assert wrong == []


def test_dear_libraries_stay_in_their_rooms() -> None:
    wrong = [
        f"{module}, line {line}: {imported} belongs in {' or '.join(rooms)}"
        for module, nodes in found().items()
        for line, imported in imports_in((node for node, typing in nodes if not typing), module, package=False)
        if (rooms := ROOMS.get(imported.split(".")[0]))
        and not any(f"{module}.".startswith(f"{room}.") for room in rooms)
    ]
    assert wrong == []


def test_only_the_command_line_prints() -> None:
    wrong = [
        f"{module}, line {node.lineno}"
        for module, nodes in found().items()
        for node, _ in nodes
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print"
        if layer_of(module) != "tint.cli"
    ]
    assert wrong == []


def test_the_rules_find_what_breaks_them() -> None:
    source = "import tint.cli\ndef f():\n    from tint import palette\n    from ..errors import InputError\n"
    nodes = [node for node, _ in nodes_in(ast.parse(source))]
    imports = sorted(imports_in(nodes, "tint.optics.layer", package=False))
    assert imports == [(1, "tint.cli"), (3, "tint.palette"), (4, "tint.errors")]
    assert misplaced("tint.optics.layer", "tint.palette") == "tint.optics stands below tint.palette"
    assert misplaced("tint.swatches.folder", "tint.palette") == "tint.swatches and tint.palette are siblings"
    assert misplaced("tint.appearance", "tint.secret") == "tint.secret is in no layer"
    assert misplaced("tint.appearance", "tint.errors") == ""
    assert misplaced("tint.optics.layer", "tint.optics.surface") == ""


DEAR = {"colour", "matplotlib", "PIL", "click", "rich", "scipy"}


def test_the_library_and_a_colour_load_nothing_dear() -> None:
    colorimetry.viewing(range(400, 701, 10))  # the first time on a machine builds the tables, with colour-science
    code = (
        "import sys, tint, tint.appearance, tint.palette, tint.swatches, tint.fitting, tint.weighing\n"
        "tint.colorimetry.viewing(range(400, 701, 10))\n"
        "print(*{name.split('.')[0] for name in sys.modules})\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert set(done.stdout.split()) & DEAR == set()
