"""The prior file, ``"format": "floorfit-prior/1"``: what a part's own stiffness makes likely before any reading.

JSON: the part's name and form (`form_of`), how the plates were simulated, and their modes, each a table over ``x_mm`` ×
``y_mm`` as high as one standard deviation of a plate whose deflection has a root mean square of 1 over the part.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from floorfit.errors import Finding, InputError
from floorfit.json_file import read_json, validated, write_json
from floorfit.plate.plate_prior import PlatePrior
from floorfit.surface.modes import Modes

__all__ = ["PRIOR_FORMAT", "prior_from_document", "prior_to_document", "read_prior", "write_prior"]

REMEDY = "Make it again with `floorfit prior`."
PRIOR_FORMAT: Literal["floorfit-prior/1"] = "floorfit-prior/1"


class _Prior(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    format: Literal["floorfit-prior/1"]
    part: str
    form_sha256: str
    thickness_mm: float = Field(gt=0)
    fields: int = Field(gt=0)
    seed: int = Field(ge=0)
    lengths_mm: list[float] = Field(min_length=1)
    version: str
    x_mm: list[float] = Field(min_length=4)
    y_mm: list[float] = Field(min_length=4)
    modes: list[list[list[float]]] = Field(min_length=1)


def prior_to_document(prior: PlatePrior) -> dict[str, Any]:
    """Return a prior as the mapping that its file holds.

    Parameters
    ----------
    prior : PlatePrior
    """
    return {
        "format": PRIOR_FORMAT,
        "part": prior.part,
        "form_sha256": prior.form,
        "thickness_mm": prior.thickness_mm,
        "fields": prior.fields,
        "seed": prior.seed,
        "lengths_mm": list(prior.lengths_mm),
        "version": prior.version,
        "x_mm": prior.modes.x.tolist(),
        "y_mm": prior.modes.y.tolist(),
        "modes": prior.modes.values.tolist(),
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
    model = validated(_Prior, document, "bad-prior", source, REMEDY)
    return PlatePrior(
        model.part, model.form_sha256, model.thickness_mm, model.fields, model.seed, tuple(model.lengths_mm),
        _modes(model, source), model.version, source,
    )  # fmt: skip


def _modes(model: _Prior, source: str) -> Modes:
    x, y = np.array(model.x_mm), np.array(model.y_mm)
    for name, nodes in (("x_mm", x), ("y_mm", y)):
        if (np.diff(nodes) <= 0).any():
            raise InputError([_fault(source, name, "the nodes do not increase")])
    rows, columns = {len(mode) for mode in model.modes}, {len(row) for mode in model.modes for row in mode}
    if rows != {len(x)} or columns != {len(y)}:
        text = f"each mode was expected to have {len(x)} rows of {len(y)} numbers, as x_mm and y_mm say"
        raise InputError([_fault(source, "modes", text)])
    return Modes(x, y, np.array(model.modes))


def _fault(source: str, place: str, text: str) -> Finding:
    return Finding("bad-prior", source, place, f"{text}. {REMEDY}")


def write_prior(prior: PlatePrior, path: str | os.PathLike[str]) -> None:
    """Write the prior file; an existing one is overwritten, so give a temporary path.

    Parameters
    ----------
    prior : PlatePrior
    path : path
        File to write.
    """
    write_json(prior_to_document(prior), Path(path))


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
    return prior_from_document(read_json(file, "prior"), file.name)
