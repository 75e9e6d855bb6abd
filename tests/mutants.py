"""Seeded changes of sign, comparison, threshold and condition, one at a time, and the tests that must notice them.

    python tests/mutants.py [--count 40] [--seed 1] [--only 3 7 …] [--near]

Works on a copy of the tree in a temporary folder. The tests nearest to the changed module are asked first. Prints for
each change its file and line, what was changed, and the test that failed, or SURVIVED; last, the tests that noticed
are asked of the unchanged tree, where they must pass. By hand: it takes a good part of an hour.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib
import multiprocessing
import os
import random
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
#: What is changed, and the tests that are asked of all its modules.
ROOMS = {
    "floorfit/web.py": ["tests/test_web.py"],
    "floorfit/run.py": ["tests/test_run.py", "tests/test_web.py"],
    "floorfit/stop.py": ["tests/test_stop.py", "tests/test_folder.py"],
    "floorfit/part": ["tests/part"],
    "floorfit/cad": ["tests/cad"],
    "floorfit/readings": ["tests/readings", "tests/test_run.py"],
    "floorfit/surface": ["tests/surface"],
    "floorfit/decision": ["tests/decision", "tests/test_web.py"],
    "floorfit/verify": ["tests/verify"],
    "floorfit/nc": ["tests/nc"],
}
#: Only draws: a line a little aside is seen, not tested.
DRAWN = "pictures.py"
FLIPPED: dict[type[ast.cmpop], type[ast.cmpop]] = {ast.Lt: ast.Gt, ast.Gt: ast.Lt, ast.LtE: ast.GtE, ast.GtE: ast.LtE}
SWAPPED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
}  # fmt: skip
#: Loaded once, for all tests that are asked.
LIBRARIES = "hypothesis numpy pydantic scipy.optimize scipy.spatial scipy.stats shapely matplotlib.figure trimesh"
#: Seconds after which tests of one call do not end: a loop that the change left without one.
PATIENCE = 1500


def places(tree: ast.AST) -> Iterator[ast.expr | ast.stmt]:
    """Comparisons, conditions, sums, products, signs, and thresholds with a name; no types, words, errors' numbers."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.JoinedStr | ast.Raise) or getattr(node, "name", "") in ("__repr__", "__str__"):
            continue
        if isinstance(node, ast.expr | ast.stmt) and _is_place(node) and node.lineno == node.end_lineno:
            yield node
        yield from places(node)


def _is_place(node: ast.AST) -> bool:
    if isinstance(node, ast.Compare):
        return type(node.ops[0]) in FLIPPED
    if isinstance(node, ast.BinOp):
        return type(node.op) in SWAPPED and not _has_text(node)
    if isinstance(node, ast.Assign | ast.AnnAssign):
        value = node.value
        return all(map(_is_length, value.elts if isinstance(value, ast.Tuple) and value.elts else [value]))
    return isinstance(node, ast.BoolOp) or (isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub))


def _is_length(value: ast.AST | None) -> bool:
    return isinstance(value, ast.Constant) and isinstance(value.value, float) and value.value != 0.0


def _has_text(node: ast.AST) -> bool:
    return any(isinstance(one, ast.JoinedStr) or isinstance(getattr(one, "value", 0), str) for one in ast.walk(node))


def changed(node: ast.expr | ast.stmt) -> str:
    """The node with its sign, comparison or threshold changed, or its last condition dropped; thresholds tenfold."""
    new = copy.deepcopy(node)
    if isinstance(new, ast.Compare):
        new.ops[0] = FLIPPED[type(new.ops[0])]()
    elif isinstance(new, ast.BinOp):
        new.op = SWAPPED[type(new.op)]()
    elif isinstance(new, ast.UnaryOp):
        new = new.operand
    elif isinstance(new, ast.BoolOp):
        new.values.pop()
    elif isinstance(new, ast.Assign | ast.AnnAssign):
        last = new.value.elts[-1] if isinstance(new.value, ast.Tuple) else new.value
        last.value *= 10  # type: ignore[union-attr]
        return ast.unparse(new)
    return f"({ast.unparse(new)})"


def mutant(rng: random.Random) -> tuple[str, str, ast.expr | ast.stmt]:
    """Pick a room, a file and a place in it."""
    homes = [(room, path) for room in sorted(ROOMS) for path in sorted(ROOT.glob(f"{room}/**/*.py"))]
    homes += [(room, ROOT / room) for room in sorted(ROOMS) if room.endswith(".py")]
    while True:
        room, path = rng.choice([(room, path) for room, path in homes if path.name != DRAWN])
        found = list(places(ast.parse(path.read_text(encoding="utf-8"))))
        if found:
            return room, path.relative_to(ROOT).as_posix(), rng.choice(found)


def applied(text: str, node: ast.expr | ast.stmt) -> str:
    """The module with one place changed."""
    rows = text.encode().splitlines(keepends=True)
    row = rows[node.lineno - 1]
    rows[node.lineno - 1] = row[: node.col_offset] + changed(node).encode() + row[node.end_col_offset :]
    return b"".join(rows).decode()


def asked(room: str, file: str) -> Iterator[list[str]]:
    """Tests that may notice a change: the module's own, those of the room that import it, those elsewhere, the rest."""
    module = file.removesuffix(".py")
    package, _, name = module.replace("/", ".").rpartition(".")
    imports = re.compile(rf"\b{package}\.{name}\b|from {package} import .*\b{name}\b")
    every = sorted((ROOT / "tests").rglob("test_*.py"), key=lambda path: path.stat().st_size)
    own = [path for path in every if path.stem == f"test_{name}"]
    naming = [path for path in every if path not in own and imports.search(path.read_text(encoding="utf-8"))]
    near = [path for path in naming if any(path.is_relative_to(ROOT / part) for part in ROOMS[room])]
    rest = [path for path in every if any(path.is_relative_to(ROOT / part) for part in ROOMS[room])]
    seen: set[Path] = set()
    for group in (own, near, naming, rest):
        fresh = [path for path in group if path not in seen]
        seen.update(fresh)
        if fresh:
            yield [path.relative_to(ROOT).as_posix() for path in fresh]


def noticed(tree: Path, tests: list[str]) -> str:
    """The first test that fails in the tree, or an empty text; asked in a fork, which has the libraries already."""
    with tempfile.TemporaryFile("w+") as said:
        asking = multiprocessing.get_context("fork").Process(target=_ask, args=(tree, tests, said.fileno()))
        asking.start()
        asking.join(PATIENCE)
        if asking.exitcode is None:
            asking.kill()
            return f"{tests[0]} and what follows it do not end"
        said.seek(0)
        failed = re.findall(r"^(?:FAILED|ERROR) (.+?)(?: - .*)?$", said.read(), re.M)
    nothing = (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED)
    return "" if asking.exitcode in nothing else (failed[0] if failed else f"exit {asking.exitcode}")


def _ask(tree: Path, tests: list[str], out: int) -> None:
    os.dup2(out, 1)
    os.dup2(out, 2)
    os.chdir(tree)
    sys.path[0] = os.environ["PYTHONPATH"] = str(tree)
    kept = "not browser and not notebook and not accuracy"
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # they take as long as a small test file
    call = ["-x", "-q", "-p", "xdist.plugin", "-n", "0", "-p", "no:cacheprovider", "-m", kept, *tests]
    sys.exit(int(pytest.main(call)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, nargs="*", help="numbers of the changes to try")
    parser.add_argument("--near", action="store_true", help="ask only the tests that are near")
    arguments = parser.parse_args()
    rng, found = random.Random(arguments.seed), []
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    for library in LIBRARIES.split():
        importlib.import_module(library)
    chosen: dict[str, tuple[str, str, ast.expr | ast.stmt]] = {}
    while len(chosen) < arguments.count:
        room, file, node = mutant(rng)
        chosen[f"{file}:{node.lineno}  {ast.unparse(node)}  ->  {changed(node)}"] = room, file, node
    with tempfile.TemporaryDirectory() as place:
        tree = Path(place) / "tree"
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", "job"))
        for number, (said, (room, file, node)) in enumerate(chosen.items()):
            if arguments.only and number not in arguments.only:
                continue
            whole = (tree / file).read_text(encoding="utf-8")
            (tree / file).write_text(applied(whole, node), encoding="utf-8")
            groups = list(asked(room, file))
            groups = groups[:-1] or groups if arguments.near else groups
            found.append(next(filter(None, (noticed(tree, tests) for tests in groups)), ""))
            (tree / file).write_text(whole, encoding="utf-8")
            print(f"{number} {said}: {found[-1] or 'SURVIVED'}", flush=True)
        unchanged = noticed(tree, sorted({one for one in found if "::" in one}))
    print(f"{found.count('')} of {len(found)} survived; unchanged, the tests that noticed: {unchanged or 'pass'}")


if __name__ == "__main__":
    main()
