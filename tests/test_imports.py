"""One way through the house: a room imports only what the design allows it."""

from __future__ import annotations

import ast
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

HOUSE = Path(__file__).resolve().parent.parent / "floorfit"

#: Every module of the package that a room may import from (design: part -> readings -> surface -> decision -> job ->
#: nc, report, verify -> command line). ``arrays``, ``errors``, ``identity``, ``json_file``, ``nearest``,
#: ``left_behind``, ``one_thread``, ``plain_text``, ``stop``, ``units``, ``versions`` and ``whole`` are shared by all
#: rooms.
WORDS = {
    f"floorfit.{name}"
    for name in (
        *(
            "arrays",
            "errors",
            "identity",
            "json_file",
            "nearest",
            "one_thread",
            "plain_text",
            "stop",
            "units",
            "versions",
        ),
        *("left_behind", "whole"),
    )
}
MAY = {
    "part": {"part"},
    "cad": {"part", "cad"},
    "readings": {"part", "readings"},
    "surface": {"surface"},
    "dishing.py": {"part", "surface"},
    "plate": {"part", "surface", "plate"},
    "planning": {"part", "readings", "surface", "dishing", "record", "plate", "planning"},
    "decision": {"part", "surface", "web", "decision"},
    "nc": {"part", "surface", "web", "decision", "record", "cutter_left", "nc"},
    "report": {"report", "record", "result", "part.model", "cad.extracted"},  # what is drawn: frozen, no computation
    "verify": {
        *("part", "readings", "surface", "web", "decision", "record", "result", "sealed", "report", "verify"),
        *("as_cut", "cutter_left", "offsets_table"),
    },
}
#: Numerics know nothing of files, polygons or print.
NUMERICS_ONLY = {"numpy", "scipy", "threadpoolctl", "floorfit"}


@cache
def _nodes(path: Path) -> list[ast.AST]:
    """All nodes of a file; it is parsed once for all tests."""
    return list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


@cache
def _imports(path: Path) -> set[str]:
    """Names of modules that a file imports, type hints included."""
    found = set()
    for node in _nodes(path):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: relative import"
            found |= (
                {f"{node.module}.{alias.name}" for alias in node.names} if node.module == "floorfit" else {node.module}
            )
    return found


def _files(room: Path) -> list[Path]:
    return [room] if room.suffix else sorted(room.rglob("*.py"))


def _rooms() -> list[tuple[str, Path]]:
    return [(path.relative_to(HOUSE).parts[0], path) for room in MAY for path in _files(HOUSE / room)]


@pytest.mark.parametrize(("room", "path"), _rooms(), ids=lambda value: value.stem if isinstance(value, Path) else value)
def test_room_imports_no_later_room(room: str, path: Path) -> None:
    allowed = {f"floorfit.{other}" for other in MAY[room]} | WORDS
    for name in _imports(path):
        if name.split(".")[0] == "floorfit":
            assert any(name == one or name.startswith(f"{one}.") for one in allowed), f"{path}: {name}"


def test_surface_is_numerics_only() -> None:
    for path in (HOUSE / "surface").rglob("*.py"):
        outside = {name.split(".")[0] for name in _imports(path)} - set(sys.stdlib_module_names)
        assert outside <= NUMERICS_ONLY, path


def test_report_computes_nothing_that_decides() -> None:
    for path in (HOUSE / "report").rglob("*.py"):
        assert not any(name.startswith("scipy") for name in _imports(path)), path


def test_nobody_imports_the_command_line() -> None:
    for path in HOUSE.rglob("*.py"):
        inside = path.relative_to(HOUSE).parts[0]
        if inside not in {"cli", "__main__.py"}:
            assert not any(name.startswith("floorfit.cli") for name in _imports(path)), path


def test_no_star_imports_and_public_names_exist() -> None:
    import floorfit

    for path in HOUSE.rglob("*.py"):
        for node in _nodes(path):
            assert not (isinstance(node, ast.ImportFrom) and node.names[0].name == "*"), path
    for name in floorfit.__all__:
        assert getattr(floorfit, name) is not None
    with pytest.raises(AttributeError, match="attribute nothing"):
        floorfit.nothing  # noqa: B018  the access is what is tried


def test_package_itself_imports_nothing_heavy() -> None:
    code = "import sys, floorfit, floorfit.cli; floorfit.cli.build_parser(); print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert not loaded & {"scipy", "matplotlib", "trimesh", "shapely", "numpy", "plotly", "pydantic", "jinja2"}


def _classes() -> list[str]:
    return [node.name for path in HOUSE.rglob("*.py") for node in _nodes(path) if isinstance(node, ast.ClassDef)]


def test_no_class_name_stands_twice() -> None:
    names = _classes()
    assert sorted({name for name in names if names.count(name) > 1}) == []


def test_no_function_is_longer_than_a_screen() -> None:
    """At most 45 lines without its docstring: our choice, no source."""
    long = []
    for path in HOUSE.rglob("*.py"):
        for node in _nodes(path):
            if isinstance(node, ast.FunctionDef):
                first = node.body[0]
                said = first.end_lineno - first.lineno + 1 if ast.get_docstring(node) else 0
                if node.end_lineno - node.lineno + 1 - said > 45:
                    long.append(f"{path.name}: {node.name}")
    assert long == []
