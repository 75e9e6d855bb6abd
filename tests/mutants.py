"""Seeded changes of sign, comparison and threshold, one at a time, and the tests that must notice them.

    python tests/mutants.py [--count 40] [--seed 1] [--only 3 7 …]

Works on a copy of the tree in a temporary folder. Prints for each change its file and line, what was changed, and the
test that failed, or SURVIVED. By hand: it takes a good part of an hour.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
#: What is changed, and the tests that are asked, cheapest first.
ROOMS = {
    "floorfit/web.py": ["tests/test_web.py"],
    "floorfit/run.py": ["tests/test_run.py", "tests/test_web.py"],
    "floorfit/readings": ["tests/readings", "tests/test_run.py"],
    "floorfit/surface": ["tests/surface"],
    "floorfit/decision": ["tests/decision", "tests/test_web.py"],
    "floorfit/verify": ["tests/verify"],
    "floorfit/nc": ["tests/nc"],
}
FLIPPED: dict[type[ast.cmpop], type[ast.cmpop]] = {ast.Lt: ast.Gt, ast.Gt: ast.Lt, ast.LtE: ast.GtE, ast.GtE: ast.LtE}
SWAPPED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
}  # fmt: skip


def places(tree: ast.AST) -> Iterator[ast.AST]:
    """Comparisons, sums and products, signs, and thresholds at the top of a module; no words, no types."""
    return (node for node in ast.walk(tree) if _is_place(node))


def _is_place(node: ast.AST) -> bool:
    if isinstance(node, ast.Compare):
        return type(node.ops[0]) in FLIPPED
    if isinstance(node, ast.BinOp):
        return type(node.op) in SWAPPED and not _has_text(node)
    if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant):
        return isinstance(node.value.value, float) and node.value.value != 0.0
    return isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub)


def _has_text(node: ast.AST) -> bool:
    inner = list(ast.walk(node))
    return any(isinstance(one, ast.Constant | ast.JoinedStr) and not _is_number(one) for one in inner)


def _is_number(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, int | float)


def changed(node: ast.AST) -> ast.AST:
    """Return the node with its sign, comparison or threshold changed; a threshold is ten times what it was."""
    new = copy.deepcopy(node)
    if isinstance(new, ast.Compare):
        new.ops[0] = FLIPPED[type(new.ops[0])]()
    elif isinstance(new, ast.BinOp):
        new.op = SWAPPED[type(new.op)]()
    elif isinstance(new, ast.UnaryOp):
        new = new.operand  # type: ignore[assignment]
    elif isinstance(new, ast.Assign) and isinstance(new.value, ast.Constant):
        new.value = ast.Constant(10 * new.value.value)  # type: ignore[operator]
    return new


def mutant(rng: random.Random) -> tuple[str, str, int, str, str]:
    """Pick a file and a place in it: room, file, line, what stands there, what shall."""
    homes = [(room, path) for room in sorted(ROOMS) for path in sorted(ROOT.glob(f"{room}/**/*.py"))]
    homes += [(room, ROOT / room) for room in sorted(ROOMS) if room.endswith(".py")]
    while True:
        room, path = rng.choice(homes)
        text = path.read_text(encoding="utf-8")
        found = [one for one in places(ast.parse(text)) if one.lineno == one.end_lineno]  # type: ignore[attr-defined]
        if found:
            node = rng.choice(found)
            old = ast.get_source_segment(text, node) or ""
            return room, str(path.relative_to(ROOT)), node.lineno, old, ast.unparse(changed(node))  # type: ignore[attr-defined]


def applied(text: str, line: int, old: str, new: str) -> str:
    """The module with one place changed."""
    rows = text.splitlines(keepends=True)
    is_assignment = isinstance(ast.parse(new).body[0], ast.Assign)
    rows[line - 1] = rows[line - 1].replace(old, new if is_assignment else f"({new})", 1)
    return "".join(rows)


def noticed(tree: Path, tests: list[str]) -> str:
    """The first test that fails in the changed tree, or an empty text."""
    call = [sys.executable, "-m", "pytest", "-x", "-q", "-n", "0", "-p", "no:cacheprovider", *tests]
    try:
        done = subprocess.run(call, cwd=tree, env=_here(tree), capture_output=True, text=True, timeout=900)
    except subprocess.TimeoutExpired:
        return "does not end"
    failed = re.findall(r"^(?:FAILED|ERROR) (\S+)", done.stdout, re.M)
    return "" if done.returncode == 0 else (failed[0] if failed else f"exit {done.returncode}")


def _here(tree: Path) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(tree), "OPENBLAS_NUM_THREADS": "1"}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, nargs="*", help="numbers of the changes to try")
    arguments = parser.parse_args()
    rng, survived = random.Random(arguments.seed), 0
    chosen = [mutant(rng) for _ in range(arguments.count)]
    with tempfile.TemporaryDirectory() as place:
        tree = Path(place) / "tree"
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", "job"))
        for number, (room, file, line, old, new) in enumerate(chosen):
            if arguments.only and number not in arguments.only:
                continue
            whole = (tree / file).read_text(encoding="utf-8")
            (tree / file).write_text(applied(whole, line, old, new), encoding="utf-8")
            found = noticed(tree, ROOMS[room])
            (tree / file).write_text(whole, encoding="utf-8")
            survived += not found
            print(f"{number} {file}:{line}  {old}  ->  {new}: {found or 'SURVIVED'}", flush=True)
    print(f"{survived} of {arguments.count} survived")


if __name__ == "__main__":
    main()
