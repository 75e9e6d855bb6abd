"""What docstrings promise: examples run as they stand, and sections are there for what a caller must know."""

from __future__ import annotations

import ast
import doctest
import importlib
from collections.abc import Iterator
from pathlib import Path

import pytest

HOUSE = Path(__file__).resolve().parent.parent / "floorfit"
MODULES = {
    ".".join(path.relative_to(HOUSE.parent).with_suffix("").parts): path.read_text(encoding="utf-8")
    for path in sorted(HOUSE.rglob("*.py"))
}
WITH_EXAMPLES = [name for name, text in MODULES.items() if ">>>" in text]

#: Share of the functions that must have the section.
SHARE = 0.9


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples_run_as_they_stand(name: str) -> None:
    module = importlib.import_module(name)
    assert doctest.testmod(module, optionflags=doctest.NORMALIZE_WHITESPACE).failed == 0


def test_there_are_examples_enough() -> None:
    finder = doctest.DocTestFinder()
    found = [test for name in WITH_EXAMPLES for test in finder.find(importlib.import_module(name)) if test.examples]
    assert len(found) >= 20


def _public(body: list[ast.stmt], inside: str = "") -> Iterator[tuple[ast.FunctionDef, bool]]:
    """Yield public functions, and public methods of public classes, with whether the first argument is the object."""
    for node in body:
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            yield from _public(node.body, node.name)
        elif isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            is_static = any(isinstance(one, ast.Name) and one.id == "staticmethod" for one in node.decorator_list)
            yield node, bool(inside) and not is_static


def _functions() -> Iterator[tuple[str, ast.FunctionDef, int]]:
    for name, text in MODULES.items():
        for node, is_method in _public(ast.parse(text).body):
            given = node.args
            count = len(given.posonlyargs) + len(given.args) + len(given.kwonlyargs) - is_method
            yield f"{name}.{node.name}", node, count + (given.vararg is not None) + (given.kwarg is not None)


def _raises(node: ast.AST) -> bool:
    """Whether a function itself raises something new; what is raised in a function inside it does not count."""
    inner = (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda, ast.ClassDef)
    for child in ast.iter_child_nodes(node):
        if isinstance(child, inner):
            continue
        if (isinstance(child, ast.Raise) and child.exc is not None) or _raises(child):
            return True
    return False


def _lacking(named: list[tuple[str, ast.FunctionDef]], section: str) -> list[str]:
    heading = f"{section}\n{'-' * len(section)}"
    return [name for name, node in named if heading not in (ast.get_docstring(node) or "")]


def test_parameters_are_described() -> None:
    named = [(name, node) for name, node, count in _functions() if count >= 2]
    lacking = _lacking(named, "Parameters")
    assert len(named) > 300
    assert len(lacking) <= (1 - SHARE) * len(named), "\n".join(lacking)


def test_what_is_raised_is_described() -> None:
    named = [(name, node) for name, node, _ in _functions() if _raises(node)]
    lacking = _lacking(named, "Raises")
    assert len(named) > 40
    assert len(lacking) <= (1 - SHARE) * len(named), "\n".join(lacking)
