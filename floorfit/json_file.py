"""Small files, text and JSON: read whole, with the faults that a user can mend named."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from floorfit.errors import Finding, InputError

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError

__all__ = ["read_json", "read_text", "refused_by", "validated", "write_json"]

Model = TypeVar("Model", bound="BaseModel")


def read_text(file: Path) -> str:
    """Return the text of a file in UTF-8, with or without its mark.

    Raises
    ------
    InputError
        If it cannot be read, or is none.
    """
    try:
        return file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        text = f"cannot be read as UTF-8 text ({error}). Check the path."
        raise InputError([Finding("unreadable", str(file), "", text)]) from error


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


def validated(model: type[Model], document: Any, code: str, source: str, remedy: str) -> Model:
    """Return a document as its model has it.

    Parameters
    ----------
    model : type
        A pydantic model.
    document : object
        What the file holds.
    code, source, remedy : str
        Of the findings.

    Raises
    ------
    InputError
        If it does not fit: the first twenty faults, each with its path.
    """
    from pydantic import ValidationError

    try:
        return model.model_validate(document)
    except ValidationError as error:
        raise refused_by(error, code, source, remedy) from error


def refused_by(error: ValidationError, code: str, source: str, remedy: str) -> InputError:
    """Return the first twenty faults that pydantic found, each with its path.

    Parameters
    ----------
    error : ValidationError
    code, source, remedy : str
        Of the findings.
    """
    faults = [(".".join(map(str, fault["loc"])), f"{fault['msg']}. {remedy}") for fault in error.errors()[:20]]
    return InputError([Finding(code, source, place, text) for place, text in faults])


def write_json(document: Any, file: Path, indent: int | None = None) -> None:
    """Write a document; NaN is refused.

    Parameters
    ----------
    document : object
    file : Path
    indent : int or None
        Blanks a level.
    """
    text = json.dumps(document, ensure_ascii=False, indent=indent, allow_nan=False)
    file.write_text(text + "\n", encoding="utf-8")
