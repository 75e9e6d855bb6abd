"""The prior file, ``"format": "floorfit-prior/1"``: what a part's own stiffness makes likely before any reading.

JSON: the part's name and form (`form_of`), how the plates were simulated, and families of modes. A family has the
correlation lengths of its stress and its modes, each a table over ``x_mm`` × ``y_mm``; their squares add up to a mean
of 1 over the part.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from floorfit.errors import Finding, InputError
from floorfit.plate.plate_prior import PlatePrior
from floorfit.plate.stress import Spectrum
from floorfit.surface.modes import Modes

__all__ = ["PRIOR_FORMAT", "prior_from_document", "prior_to_document", "read_prior", "write_prior"]

PRIOR_FORMAT: Literal["floorfit-prior/1"] = "floorfit-prior/1"


class _PriorModel(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class _Family(_PriorModel):
    lengths_mm: list[tuple[float, float]]
    modes: list[list[list[float]]] = Field(min_length=1)


class _Prior(_PriorModel):
    format: Literal["floorfit-prior/1"]
    part: str
    form_sha256: str
    thickness_mm: float = Field(gt=0)
    fields: int = Field(gt=0)
    seed: int = Field(ge=0)
    version: str
    x_mm: list[float] = Field(min_length=4)
    y_mm: list[float] = Field(min_length=4)
    families: list[_Family] = Field(min_length=1)


def prior_to_document(prior: PlatePrior) -> dict[str, Any]:
    """Return a prior as the mapping that its file holds.

    Parameters
    ----------
    prior : PlatePrior
    """
    first = prior.families[0]
    return {
        "format": PRIOR_FORMAT,
        "part": prior.part,
        "form_sha256": prior.form,
        "thickness_mm": prior.thickness_mm,
        "fields": prior.fields,
        "seed": prior.seed,
        "version": prior.version,
        "x_mm": first.x.tolist(),
        "y_mm": first.y.tolist(),
        "families": [
            {"lengths_mm": [[s.along_mm, s.across_mm] for s in spectra], "modes": modes.values.tolist()}
            for spectra, modes in zip(prior.spectra, prior.families, strict=True)
        ],
    }


def prior_from_document(document: Any, source: str = "prior") -> PlatePrior:
    """Build a prior from what its file holds.

    Parameters
    ----------
    document : object
        What the JSON file holds.
    source : str
        File name for messages.

    Raises
    ------
    InputError
        If the document does not fit the format.
    """
    try:
        model = _Prior.model_validate(document)
    except ValidationError as error:
        raise InputError([_fault(source, _path(one["loc"]), one["msg"]) for one in error.errors()[:20]]) from error
    x, y = np.array(model.x_mm), np.array(model.y_mm)
    for name, nodes in (("x_mm", x), ("y_mm", y)):
        if (np.diff(nodes) <= 0).any():
            raise InputError([_fault(source, name, "the nodes do not increase")])
    families = tuple(_modes(source, k, family, x, y) for k, family in enumerate(model.families))
    spectra = tuple(tuple(Spectrum(*pair) for pair in family.lengths_mm) for family in model.families)
    return PlatePrior(
        model.part, model.form_sha256, model.thickness_mm, model.fields, model.seed, spectra, families, model.version,
        source,
    )  # fmt: skip


def _modes(source: str, number: int, family: _Family, x: np.ndarray, y: np.ndarray) -> Modes:
    rows = {len(mode) for mode in family.modes} | {len(x)}
    columns = {len(row) for mode in family.modes for row in mode} | {len(y)}
    if len(rows) > 1 or len(columns) > 1:
        text = f"a mode has not the {len(x)} rows of {len(y)} numbers that x_mm and y_mm ask for"
        raise InputError([_fault(source, f"families.{number}.modes", text)])
    return Modes(x, y, np.array(family.modes))


def _path(steps: tuple[int | str, ...]) -> str:
    return ".".join(str(step) for step in steps)


def _fault(source: str, place: str, text: str) -> Finding:
    return Finding("bad-prior", source, place, f"{text}. Make it again with `floorfit prior`.")


def write_prior(prior: PlatePrior, path: str | os.PathLike[str]) -> None:
    """Write the prior file; an existing one is overwritten, so give a temporary path.

    Parameters
    ----------
    prior : PlatePrior
    path : path
        File to write.
    """
    Path(path).write_text(json.dumps(prior_to_document(prior), ensure_ascii=False) + "\n", encoding="utf-8")


def read_prior(path: str | os.PathLike[str]) -> PlatePrior:
    """Read a prior file.

    Parameters
    ----------
    path : path
        That `floorfit prior` or `write_prior` wrote.

    Raises
    ------
    InputError
        If it cannot be read, is not JSON or does not fit the format.
    """
    file = Path(path)
    try:
        document = json.loads(file.read_text(encoding="utf-8-sig"))
    except OSError as error:
        text = f"cannot be read ({error.strerror}). Check the path."
        raise InputError([Finding("unreadable", str(file), "", text)]) from error
    except (ValueError, RecursionError) as error:
        text = f"is not JSON ({error}). Name a file that `floorfit prior` wrote."
        raise InputError([Finding("not-json", file.name, "", text)]) from error
    return prior_from_document(document, file.name)
