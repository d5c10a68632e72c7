"""The documentation is true: its commands print what the pages show, its Python runs, its links lead somewhere.

`python tests/test_docs.py --write` runs every page and writes what came out in place of what it showed. Where a line of
what a command printed is replaced by `...`, the page goes on showing that part of it only. A block after the comment
`<!-- file: NAME -->` is written to NAME before the next command runs.
"""

from __future__ import annotations

import contextlib
import doctest
import io
import itertools
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import click
import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from tint.cli import COMMANDS, main  # noqa: E402

pytestmark = pytest.mark.usefixtures("sought_once")  # pages ask the same of one folder

PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
DRAWN_BY = "tutorial.md"
PICTURES = {"lid.png": "proof.png", "diffuser.png": "diffuser.png"}  # what its commands draw, and its name in docs

BLOCK = re.compile(r"(?:^<!-- file: (?P<file>\S+) -->\n)?^```(?P<kind>\w*)\n(?P<body>.*?)^```$", re.M | re.S)
GAP = "..."  # stands for lines that a page leaves out
TOKEN = re.compile(r"#[0-9a-f]{6}\b|[-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?")


# Running a page.


def workshop(folder: Path, fitted: Path | None = None) -> Path:
    """A folder to run a page in: the demo's input files, its palette as in `fitted`, and a `tint` of this tree."""
    without = shutil.ignore_patterns("*.fit", "__pycache__", "*.recipe.json", "lid")
    shutil.copytree(ROOT / "swatches_demo", folder / "swatches_demo", ignore=without)
    if fitted is not None:
        shutil.copy(fitted / "palette.many-flux.fit", folder / "swatches_demo")
    tools = folder / "venv" / "bin"
    tools.mkdir(parents=True)
    for name, call in {"tint": f'"{sys.executable}" -m tint', "python": f'"{sys.executable}"'}.items():
        (tools / name).write_text(f'#!/bin/sh\nexec {call} "$@"\n', encoding="utf-8")
        (tools / name).chmod(0o755)
    return folder


def run(command: str, folder: Path) -> tuple[int, str]:
    """Exit status, and standard output and error as a page shows them."""
    environment = os.environ | {
        "PATH": f"{folder / 'venv' / 'bin'}{os.pathsep}{os.environ.get('PATH', '')}",
        "PYTHONPATH": str(ROOT),
        "PYTHONIOENCODING": "utf-8",
        "COLUMNS": "100",
        "NO_COLOR": "1",
        "TERM": "dumb",
        "TINT_VENV": str(folder / "venv"),
    }
    here, given = _plain_call(command), None
    if here is not None:
        words, into, command = here
        status, told, given = _run_here(words, into, folder, environment)
        if not command:
            return status, told
    done = subprocess.run(
        ["sh", "-c", command],
        cwd=folder,
        env=environment,
        input=given,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        check=False,
    )
    return done.returncode, done.stdout


def _plain_call(command: str) -> tuple[list[str], str | None, str] | None:
    """The arguments of a plain call of tint, the file that its output goes to, and what that is piped into.

    None where it takes a shell.
    """
    call, _, filtered = command.replace("\\\n", " ").partition(" | ")
    words = shlex.split(call)
    into = None
    if len(words) > 2 and words[-2] == ">":
        *words, _, into = words
    shell = any(sign in word for word in words for sign in ("|", "&&", ">", "<", ";", "$(", "*"))
    return None if words[:1] != ["tint"] or shell else (words[1:], into, filtered)


def _run_here(words: list[str], into: str | None, folder: Path, environment: dict[str, str]) -> tuple[int, str, str]:
    """The same in this process: most of what a short command costs is the start of an interpreter."""
    with contextlib.chdir(folder), pytest.MonkeyPatch.context() as patched:
        for name, value in environment.items():
            patched.setenv(name, value)
        done = CliRunner().invoke(main, words, prog_name="tint")
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        if into is not None:
            Path(into).write_bytes(done.stdout_bytes)
            return done.exit_code, done.stderr, ""
        return done.exit_code, done.output, done.stdout


def run_page(text: str, folder: Path) -> str:
    """The page as its own commands and Python, run in order in `folder`, would have it."""
    names: dict[str, object] = {"__name__": "__page__"}

    def again(block: re.Match[str]) -> str:
        body = block["body"]
        if block["file"]:
            named = folder / block["file"]
            named.parent.mkdir(exist_ok=True)
            named.write_text(body, encoding="utf-8")
        elif block["kind"] == "console":
            body = _console(body, folder)
        elif block["kind"] == "pycon":
            body = _pycon(body, folder, names)
        elif block["kind"] == "python":
            with contextlib.chdir(folder):
                exec(compile(body, "<page>", "exec"), names)
        start = block.start("body") - block.start()
        return block[0][:start] + body + "```"

    return BLOCK.sub(again, text)


def _console(body: str, folder: Path) -> str:
    shown = []
    # A line that ends in a backslash goes on in the next one.
    for command, before in re.findall(r"^\$ ((?:.*\\\n)*.*)\n((?:(?!\$ ).*\n)*)", body, re.M):
        status, output = run(command, folder)
        told = output.rstrip().rpartition("\n")[2].startswith("tint: ")
        assert (status != 0) == told, f"exit status {status} of `{command}`:\n{output}"
        shown.append(f"$ {command}\n{shortened(output.rstrip(), before)}".rstrip() + "\n")
    assert shown, f"no command in:\n{body}"
    return "".join(shown)


def shortened(output: str, before: str) -> str:
    """Of what a command prints the lines that a page showed before, `...` in place of the others.

    All of it where the page showed all, or a line that is there no more.
    """
    if GAP not in before.splitlines():
        return output
    lines, kept = output.splitlines(), list[int]()
    for line in before.splitlines():
        if line == GAP or not line.strip():
            continue
        left = range(kept[-1] + 1 if kept else 0, len(lines))
        like = [at for at in left if _words(lines[at]) == _words(line)]
        same = [at for at in like if not unlike(line, lines[at])]
        if not like:
            return output
        kept.append((same or like)[0])
    shown, ends = list[str](), [-1, *kept, len(lines)]
    for last, at in itertools.pairwise(ends):
        between = lines[last + 1 : at]
        shown += [GAP] if any(map(str.strip, between)) else between
        shown += lines[at : at + 1]
    return "\n".join(shown)


def _pycon(body: str, folder: Path, names: dict[str, object]) -> str:
    shown = []
    for example in doctest.DocTestParser().get_examples(body):
        # Another test may have changed how NumPy prints.
        plain = np.printoptions(legacy=False)
        with plain, contextlib.chdir(folder), contextlib.redirect_stdout(io.StringIO()) as printed:
            exec(compile(example.source, "<page>", "single"), names)
        first, *rest = example.source.rstrip("\n").split("\n")
        shown += [f">>> {first}", *(f"... {line}".rstrip() for line in rest), *printed.getvalue().splitlines()]
    return "".join(f"{line}\n" for line in shown)


# Comparing what a page shows with what came out.


def unlike(shown: str, got: str) -> str:
    """Where two texts differ by more than spacing and the last digits of numbers, in words; empty when nowhere."""
    if _words(shown) != _words(got):
        pairs = zip(_words(shown), _words(got), strict=False)
        before, after = next(((one, two) for one, two in pairs if one != two), ("the end", "more"))
        return f"{before!r} is now {after!r}"
    for one, two in zip(TOKEN.findall(shown), TOKEN.findall(got), strict=True):
        if not _near(one, two):
            return f"{one} is now {two}"
    return ""


def _words(text: str) -> list[str]:
    return TOKEN.sub("0", text).split()


def _near(one: str, two: str) -> bool:
    if one == two:
        return True
    if one.startswith("#") or two.startswith("#"):
        levels = (np.frombuffer(bytes.fromhex(code[1:]), np.uint8).astype(int) for code in (one, two))
        return len(one) == len(two) and int(np.max(np.abs(np.subtract(*levels)))) <= 1
    digits = max(len(text.partition("e")[0].partition(".")[2]) for text in (one, two))
    if digits == 0:
        return False  # a count
    return abs(float(one) - float(two)) <= max(2.0 * 10.0**-digits, 0.002 * abs(float(one))) * 1.000001


def pixels(path: Path) -> np.ndarray:
    with Image.open(path) as picture:
        return np.asarray(picture.convert("RGB"), dtype=float)


def write() -> None:
    """Put what comes out now in place of what the pages show."""
    with tempfile.TemporaryDirectory() as place:
        first = workshop(Path(place) / "first")
        status, told = run("tint fit swatches_demo", first)
        assert status == 0, told
        for page in PAGES:
            folder = workshop(Path(place) / page.stem, first / "swatches_demo")
            text = page.read_text(encoding="utf-8")
            page.write_text(run_page(text, folder), encoding="utf-8")
            if page.name == DRAWN_BY:
                for drawn, kept_as in PICTURES.items():
                    shutil.copyfile(folder / drawn, ROOT / "docs" / kept_as)


# The tests.


def page_id(page: Path) -> str:
    return page.name


@pytest.mark.parametrize("page", PAGES, ids=page_id)
def test_a_page_shows_what_its_commands_print(page: Path, tmp_path: Path, many_demo: Path) -> None:
    text = page.read_text(encoding="utf-8")
    got = run_page(text, workshop(tmp_path, many_demo))
    for shown, now in zip(BLOCK.finditer(text), BLOCK.finditer(got), strict=True):
        first = shown["body"].partition("\n")[0]
        told = unlike(shown["body"], now["body"])
        assert not told, f"{page.name}, under `{first}`: {told}; run `python tests/test_docs.py --write`, then read it"
    for name, kept_as in PICTURES.items() if page.name == DRAWN_BY else ():
        drawn, kept = pixels(tmp_path / name), pixels(ROOT / "docs" / kept_as)
        again = f"{kept_as} has changed: run `python tests/test_docs.py --write`, then look at it"
        assert drawn.shape == kept.shape, again
        assert float(np.abs(drawn - kept).mean()) < 2.0, again


def test_the_tutorial_uses_every_command() -> None:
    text = (ROOT / "docs" / "tutorial.md").read_text(encoding="utf-8")
    used = {name for block in BLOCK.finditer(text) for name in re.findall(r"^\$ tint (\w+)", block["body"], re.M)}
    assert used == set(COMMANDS)


@pytest.mark.parametrize(
    ("shown", "got"),
    [
        ("a  0.123 b", "a 0.123\nb"),
        ("L* 61.25", "L* 61.24"),
        ("0.0035 %", "0.0036 %"),
        ("-0.00", "0.01"),
        ("#7d9b73", "#7e9a73"),
    ],
)
def test_spacing_and_last_digits_may_differ(shown: str, got: str) -> None:
    assert unlike(shown, got) == ""


@pytest.mark.parametrize(
    ("shown", "got"),
    [
        ("a 0.123", "b 0.123"),
        ("L* 61.25", "L* 61.55"),
        ("0.0035 %", "0.0039 %"),
        ("75 swatches", "76 swatches"),
        ("0 faults", "0 faults, 1 warning"),
        ("#7d9b73", "#7d9b76"),
        ("white", "white\n0.5"),
    ],
)
def test_anything_more_is_told(shown: str, got: str) -> None:
    assert unlike(shown, got) != ""


def test_a_page_may_show_a_part_of_what_is_printed() -> None:
    printed = "one 1.00\n\ntwo 2.00\ntwo 3.00\nfour"
    assert shortened(printed, "...\ntwo 3.01\n...\n") == "...\ntwo 3.00\n..."
    assert shortened(printed, "one 1.00\n\ntwo 7.00\n...\n") == "one 1.00\n\ntwo 2.00\n..."
    assert shortened(printed, "five\n...\n") == printed, "what is gone is looked at anew"
    assert shortened(printed, "one 1.00\n") == printed


@pytest.fixture(scope="session")
def fitted(tmp_path_factory: pytest.TempPathFactory, many_demo: Path) -> Path:
    """A workshop whose swatches are fitted."""
    return workshop(tmp_path_factory.mktemp("workshop"), many_demo)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_that_opens_with_an_example_that_runs(name: str, fitted: Path) -> None:
    status, told = run(f"tint {name} --help", fitted)
    assert status == 0
    usage, summary, example = (" ".join(paragraph.split()) for paragraph in told.split("\n\n")[:3])
    assert usage.startswith(f"Usage: tint {name} ")
    assert summary.endswith(".")
    assert name == "explain" or re.match(rf"Example: tint {name} ([a-z]+ )*swatches_demo", example), told
    call = example.removeprefix("Example: ")
    if call not in run_elsewhere():
        status, told = run(call, fitted)
        assert status == 0, told


def run_elsewhere() -> set[str]:
    """Commands of pages and of the order's script that end well: other tests run each of them in a fitted workshop."""
    pages = [block["body"] for page in PAGES for block in BLOCK.finditer(page.read_text(encoding="utf-8"))]
    script = (ROOT / "swatches_demo" / "order.sh").read_text(encoding="utf-8")
    fails = r"(?!\n(?:(?!\$ ).*\n)*tint: )"  # the line on standard error
    return set(re.findall(rf"^(?:\$|run) (tint .*)${fails}", "\n".join([*pages, script]), re.M))


def slug(heading: str) -> str:
    """The anchor that a Markdown page gives a heading."""
    words = re.sub(r"[^\w\- ]", "", heading.strip().lower())
    return words.replace(" ", "-")


def prose(page: Path) -> str:
    """A page without its fenced blocks."""
    return BLOCK.sub("", page.read_text(encoding="utf-8"))


@pytest.mark.parametrize("page", [*PAGES, ROOT / "swatches_demo" / "README.md"], ids=page_id)
def test_every_link_leads_somewhere(page: Path) -> None:
    def leads_nowhere(target: str) -> bool:
        path, _, anchor = target.partition("#")
        there = (page.parent / path).resolve() if path else page
        return not there.exists() or bool(
            anchor and anchor not in map(slug, re.findall(r"^#+ (.*)$", prose(there), re.M))
        )

    targets = re.findall(r"\]\(([^)\s]+)\)", prose(page))
    assert [each for each in targets if not each.startswith("https://") and leads_nowhere(each)] == []


def options(command: click.Command) -> set[str]:
    """The options of a command and of those under it; a key of `--set` is one."""
    with click.Context(command) as context:
        found = {name for each in command.get_params(context) for name in each.opts}
        under = command.list_commands(context) if isinstance(command, click.Group) else []
        commands = [command.get_command(context, name) for name in under] if isinstance(command, click.Group) else []
    return found.union(*(options(each) for each in commands if each is not None))


@pytest.mark.parametrize("page", PAGES, ids=page_id)
def test_every_option_that_a_page_names_is_one(page: Path) -> None:
    spans = [span for span in re.findall(r"`([^`]+)`", prose(page)) if ".py" not in span]
    named = {name for span in spans for name in re.findall(r"(?<![\w-])--(?:set\s+[\w.]+|[a-z-]+)", span)}
    known = options(main) | {"--set", "--set KEY"}
    assert {" ".join(name.split()) for name in named} - known == set()


def test_every_page_is_linked_from_the_readme() -> None:
    linked = set(re.findall(r"\]\(([^)#\s]+)\)", prose(ROOT / "README.md")))
    pages = {str(page.relative_to(ROOT)) for page in PAGES if page.name != "README.md"}
    assert pages <= linked


def test_the_order_runs_and_leaves_nothing_that_git_would_see(tmp_path: Path, many_demo: Path) -> None:
    folder = workshop(tmp_path, many_demo)
    (folder / "venv" / "bin" / "tint").write_text("#!/bin/sh\n", encoding="utf-8")  # what it calls is run below
    shutil.copy(ROOT / ".gitignore", folder)
    subprocess.run(["git", "init", "-q"], cwd=folder, check=True)
    subprocess.run(["git", "add", "-A"], cwd=folder, check=True)
    status, told = run("sh swatches_demo/order.sh", folder)
    assert status == 0, told
    commands = re.findall(r"^\$ (tint .*)$", told, re.M)
    assert [each.split()[1] for each in commands] == ["check", "order", "weigh"]
    for command in commands:
        status, printed = run(command, folder)
        assert status == 0, printed
        told += printed
    assert re.search(r"^price +[\d.]+ EUR +the batch; material", told, re.M)
    assert pixels(folder / "swatches_demo" / "orders" / "lid" / "card.png").ndim == 3
    changed = subprocess.run(["git", "status", "--porcelain"], cwd=folder, check=True, capture_output=True, text=True)
    assert [line for line in changed.stdout.splitlines() if not line.startswith("A ")] == []


@pytest.mark.parametrize("script", ["swatches_demo/order.sh", ".ci/test", ".ci/run"])
def test_scripts_parse(script: str) -> None:
    shell = "bash" if script == ".ci/run" else "sh"
    subprocess.run([shell, "-n", str(ROOT / script)], check=True)


if __name__ == "__main__":
    if sys.argv[1:] != ["--write"]:
        sys.exit("usage: python tests/test_docs.py --write")
    write()
