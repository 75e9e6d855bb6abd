"""Small JSON files of our own: read whole, with the faults that a user can mend named."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from floorfit.errors import Finding, InputError

__all__ = ["read_json"]


def read_json(file: Path, command: str) -> Any:
    """Return what a JSON file holds.

    Parameters
    ----------
    file : Path
    command : str
        The command that writes such files, for the remedy.

    Raises
    ------
    InputError
        If it cannot be read, or is not JSON.
    """
    try:
        return json.loads(file.read_text(encoding="utf-8-sig"))
    except OSError as error:
        text = f"cannot be read ({error.strerror}). Check the path."
        raise InputError([Finding("unreadable", str(file), "", text)]) from error
    except (ValueError, RecursionError) as error:
        text = f"is not JSON ({error}). Name a file that `floorfit {command}` wrote."
        raise InputError([Finding("not-json", file.name, "", text)]) from error
