"""A shop's own settings: a small TOML file that says what must be stated of every plate."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

from floorfit.errors import Finding, InputError

__all__ = ["read_shop"]


def read_shop(path: str | os.PathLike[str]) -> tuple[str, ...]:
    """Read the facts that a shop requires.

    Parameters
    ----------
    path : path
        TOML with one key, ``require``: a list of keys of `floorfit.identity.KEYS`.

    Returns
    -------
    tuple of str

    Raises
    ------
    InputError
        If the file cannot be read, is no TOML, or holds anything else.
    """
    file = Path(path)
    try:
        found = tomllib.loads(file.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        text = f'cannot be read as TOML ({error}). It may hold one line, as in: require = ["serial", "operator"].'
        raise InputError([Finding("bad-shop", file.name, "", text)]) from error
    required = found.pop("require", [])
    if found or not isinstance(required, list) or not all(isinstance(one, str) for one in required):
        text = 'holds something else than a list of texts, require = ["serial", "operator"]. Remove the rest.'
        raise InputError([Finding("bad-shop", file.name, "", text)])
    return tuple(required)
