"""The prior file: what is written is read, and what does not fit is refused with its place."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import small_part

import floorfit
from floorfit.errors import InputError
from floorfit.plate.plate_prior import PlatePrior, prior
from floorfit.plate.prior_file import prior_from_document, prior_to_document, read_prior, write_prior


@pytest.fixture(scope="module")
def made() -> PlatePrior:
    return prior(small_part.part(), fields=100)


def test_what_is_written_is_read(made: PlatePrior, tmp_path: Path) -> None:
    write_prior(made, tmp_path / "prior.json")
    back = read_prior(tmp_path / "prior.json")
    assert prior_to_document(back) == prior_to_document(made)
    assert np.array_equal(back.modes.values, made.modes.values) and back.source == "prior.json"


def test_a_file_fits_as_the_call_does(made: PlatePrior, tmp_path: Path) -> None:
    write_prior(made, tmp_path / "prior.json")
    part, readings = small_part.part(), small_part.readings()
    one, two = (floorfit.correct(part, readings, prior=p) for p in (made, read_prior(tmp_path / "prior.json")))
    assert [d.offset_mm for d in one.decisions] == [d.offset_mm for d in two.decisions]


Change = Callable[[dict[str, Any]], object]
FAULTS: list[tuple[str, Change, str]] = [
    ("unknown key", lambda d: d.update(extra=1), "extra"),
    ("another format", lambda d: d.update(format="floorfit-prior/9"), "format"),
    ("no modes", lambda d: d.update(modes=[]), "modes"),
    ("a row short", lambda d: d["modes"][0].pop(), "modes: each mode was expected to have"),
    ("nodes back", lambda d: d.update(x_mm=d["x_mm"][::-1]), "x_mm: the nodes do not increase"),
    ("not a number", lambda d: d["modes"][0][0].__setitem__(0, "x"), r"modes.0.0.0"),
]


@pytest.mark.parametrize(("change", "named"), [fault[1:] for fault in FAULTS], ids=[fault[0] for fault in FAULTS])
def test_faults_are_refused_with_their_place(made: PlatePrior, change: Change, named: str) -> None:
    document = copy.deepcopy(prior_to_document(made))
    change(document)
    with pytest.raises(InputError, match=rf"(?s){named}.*floorfit prior"):
        prior_from_document(document, "prior.json")


HANDS: list[tuple[str, Change]] = [
    ("another datum", lambda d: d.update(x_mm=[x + 50 for x in d["x_mm"]])),
    ("other lengths", lambda d: d.update(y_mm=[y / 25.4 for y in d["y_mm"]])),
    ("higher", lambda d: d.update(modes=(1e3 * np.array(d["modes"])).tolist())),
    ("flat", lambda d: d.update(modes=(0.0 * np.array(d["modes"])).tolist())),
    ("one value", lambda d: d["modes"][0][0].__setitem__(0, 1e300)),
]


@pytest.mark.parametrize("change", [hand[1] for hand in HANDS], ids=[hand[0] for hand in HANDS])
def test_modes_that_are_no_plates_are_refused(made: PlatePrior, change: Change) -> None:
    """By their own statement modes span the part, and all together have a root mean square of nearly 1."""
    document = copy.deepcopy(prior_to_document(made))
    change(document)
    found = prior_from_document(document, "prior.json")
    with pytest.raises(InputError, match=r"prior\.json.*floorfit prior"):
        floorfit.correct(small_part.part(), small_part.readings(), prior=found)
    with pytest.raises(InputError, match=r"prior\.json.*floorfit prior"):
        floorfit.plan(small_part.part(), prior=found)


@pytest.mark.parametrize("text", ["{", "[1, 2", "[" * 100_000, "\xff\xfe"])
def test_what_is_no_json_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "prior.json"
    path.write_bytes(text.encode("latin-1"))
    with pytest.raises(InputError, match="is not JSON"):
        read_prior(path)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_prior(tmp_path / "none.json")


def test_numbers_that_are_none_are_refused(made: PlatePrior, tmp_path: Path) -> None:
    text = json.dumps(prior_to_document(made)).replace(str(made.modes.values[0, 0, 0]), "NaN", 1)
    (tmp_path / "prior.json").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="modes"):
        read_prior(tmp_path / "prior.json")
