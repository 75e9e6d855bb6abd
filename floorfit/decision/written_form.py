"""How results stand in the record, said beside their types; pydantic asks for it when the record is loaded.

The table of pockets is shown before a record is made: what is here needs no pydantic until then.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
    from pydantic_core import CoreSchema

__all__ = ["WRITTEN", "JsonArray", "JsonIndex", "Number", "WrittenForm"]

#: A number of the record; None where it is not known, or there is none.
Number = float | None

#: What a written result allows (pydantic's ``ConfigDict``): no key unasked for, no NaN.
WRITTEN = {"extra": "forbid", "allow_inf_nan": False, "arbitrary_types_allowed": True}


class WrittenForm:
    """Says in an ``Annotated`` type how its values are read from the record and written to it.

    Parameters
    ----------
    read : callable
        Makes the value of what the record holds.
    write : callable
        The way back.
    kind : {"array", "string"}
        What it is there, in JSON.
    """

    def __init__(self, read: Callable[[Any], Any], write: Callable[[Any], Any], kind: str) -> None:
        """Store both ways and the kind."""
        self.read, self.write, self.kind = read, write, kind

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Return the type's own schema with both ways round it (pydantic, "Custom types")."""
        from pydantic_core import core_schema

        written = core_schema.plain_serializer_function_ser_schema(self.write)
        return core_schema.no_info_before_validator_function(self.read, handler(source), serialization=written)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Return the kind alone."""
        return {"type": self.kind}


def _read_array(values: Any) -> NDArray[np.float64]:
    array = np.array(values, dtype=float)
    array.flags.writeable = False
    return array


def _write_array(values: NDArray[np.float64]) -> list[Any]:
    written = values.astype(object)
    written[~np.isfinite(values)] = None
    return written.tolist()  # type: ignore[no-any-return]


#: An array in memory, nested lists in the record; NaN is null there.
JsonArray = Annotated[NDArray[np.float64], WrittenForm(_read_array, _write_array, "array")]

#: Whole numbers in memory, nested lists in the record.
JsonIndex = Annotated[
    NDArray[np.intp], WrittenForm(lambda values: np.array(values, np.intp), lambda values: values.tolist(), "array")
]
