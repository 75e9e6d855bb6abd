"""What pytest leaves alone, and the order of the files: the longest first, so that no process waits at the end.

Each file is run by one process, so that what its tests share is made once (`--dist loadfile`).
"""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import hypothesis
import pytest

# A slow machine is no fault: no test depends on seconds.
hypothesis.settings.register_profile("untimed", deadline=None)
hypothesis.settings.load_profile("untimed")

#: The browser's tests where its driver, a tool of developers, is not installed.
collect_ignore = [] if find_spec("playwright") else ["browser"]

#: Files that take longest, from some 30 s of a processor down to 8.
LONGEST = (
    "surface/test_fit.py",
    "nc/test_damage.py",
    "planning/test_points.py",
    "accuracy/test_chain.py",
    "sample_parts/test_programs.py",
    "verify/test_alike.py",
    "verify/test_misfiled.py",
    "surface/test_terrain.py",
    "verify/test_parts.py",
    "cad/test_extraction.py",
    "cad/test_recognise.py",
    "cad/test_public_models.py",
    "report/test_map.py",
    "readings/test_causes.py",
    "test_same_bytes.py",
    "verify/test_otherwise.py",
    "sample_parts/test_lofted.py",
    "nc/test_nasty.py",
    "sample_parts/test_locations.py",
    "nc/cl/test_cl_proof.py",
    "nc/test_programme.py",
    "nc/test_curved_floors.py",
    "nc/test_subprogrammes.py",
    "cad/test_sample_models.py",
    "test_folder.py",
    "decision/test_odd_web.py",
)


class _EmptyPages:
    """Pages of a PDF that nobody looks at."""

    def __init__(self, path: Path, **options: object) -> None:
        path.write_bytes(b"")

    def __enter__(self) -> _EmptyPages:
        return self

    def __exit__(self, *error: object) -> None:
        pass

    def savefig(self, figure: object) -> None:
        pass


@pytest.fixture
def unpainted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Save figures as empty files: painting them takes most of a run, for tests that look at other files."""

    def saved(figure: object, target: object, **options: object) -> None:
        if isinstance(target, str | Path):
            Path(target).write_bytes(b"")

    monkeypatch.setattr("matplotlib.figure.Figure.savefig", saved)
    monkeypatch.setattr("matplotlib.backends.backend_pdf.PdfPages", _EmptyPages)


def pytest_configure(config: pytest.Config) -> None:
    """Keep the order below: else pytest-xdist puts the files with most tests first."""
    config.option.loadscopereorder = False


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the longest files first; the others stay in order."""
    items.sort(key=_rank)


def _rank(item: pytest.Item) -> int:
    return next((k for k, name in enumerate(LONGEST) if item.path.as_posix().endswith(name)), len(LONGEST))
