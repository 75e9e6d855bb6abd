"""A part document on its way to a part: faults of values together, and the values in millimetres."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import cached_property, reduce
from operator import getitem
from typing import Any

from floorfit.part.check import (
    check_ids,
    check_inside_outline,
    check_islands,
    check_name,
    check_numbers,
    check_overlaps,
    check_ring,
    check_web,
    clean_ring,
)
from floorfit.part.document import Fault, Path, quoted
from floorfit.part.model import Pocket, Ring
from floorfit.part.shaped import patches_from, shape_faults, tolerance_from, tolerances_from
from floorfit.units import MM_PER_UNIT

__all__ = ["Draft"]

#: A stated web and floor_z − underside_z may differ by this, mm (contract).
WEB_AGREES_MM = 1e-3

#: Differences below this are the dust of float arithmetic, mm.
DUST_MM = 1e-9


class Draft:
    """A document on its way to a part: what is sound in it is checked further, what is not is passed over.

    Parameters
    ----------
    document : mapping
        As it came; only places that no bad path touches are looked at.
    bad : iterable of path
        Where the structure has faults.
    """

    def __init__(self, document: Mapping[str, Any], bad: Iterable[Path]) -> None:
        """Store the document and the paths that must not be looked at."""
        self.document = document
        self.bad = set(bad)
        self.tainted = {path[:k] for path in self.bad for k in range(len(path) + 1)}
        self.indices: range = range(0)
        self.scale = 1.0
        self.has_sound_boundary: set[int] = set()
        self._pockets: dict[int, Pocket] = {}
        if isinstance(document, Mapping) and not self._has_fault_above("pockets") and "pockets" in document:
            self.indices = range(len(document["pockets"]))

    def faults(self) -> list[Fault]:
        """Return what is wrong with the values together; nothing while the unit is not known."""
        if not isinstance(self.document, Mapping) or not self.is_sound("units"):
            return []
        self.scale = MM_PER_UNIT[self.document["units"]]
        return [*self._text_faults(), *self._ring_faults(), *self._number_faults()]

    def is_sound(self, *path: str | int) -> bool:
        """Whether neither the value there, nor anything in it or above it, has a fault."""
        return path not in self.tainted and not self._has_fault_above(*path)

    def _has_fault_above(self, *path: str | int) -> bool:
        return bool(self.bad) and any(path[:k] in self.bad for k in range(len(path) + 1))

    def outline(self) -> Ring:
        """Return the outline, mm."""
        return clean_ring(self.document["outline"], self.scale)

    # ---- texts -------------------------------------------------------------------------------------------------

    def _text_faults(self) -> list[Fault]:

        ids = [(("pockets", i, "id"), self._raw(i)["id"]) for i in self.indices if self.is_sound("pockets", i, "id")]
        names = check_name(self.document["name"]) if self.is_sound("name") else []
        return [*names, *check_ids(ids)]

    def _raw(self, i: int) -> Mapping[str, Any]:
        raw: Mapping[str, Any] = self.document["pockets"][i]
        return raw

    @cached_property
    def _labels(self) -> list[str]:
        """What each pocket is called in messages."""
        return [
            quoted(self._raw(i)["id"]) if self.is_sound("pockets", i, "id") else f"number {i + 1}" for i in self.indices
        ]

    # ---- rings -------------------------------------------------------------------------------------------------

    def _ring_faults(self) -> list[Fault]:

        faults: list[Fault] = []
        outline = self._ring(("outline",), "the outline", faults)
        boundaries, floors = [], []
        for i in self.indices:
            path: Path = ("pockets", i, "boundary")
            ring = self._ring(path, f"the boundary of pocket {self._labels[i]}", faults)
            if ring is None:
                continue
            self.has_sound_boundary.add(i)
            boundaries.append((path, self._labels[i], ring))
            floor = self._floor(i, ring, faults)
            if floor is not None:
                floors.append((path, self._labels[i], floor))
        return [*faults, *check_inside_outline(outline, boundaries), *check_overlaps(floors)]

    def _ring(self, path: Path, what: str, faults: list[Fault]) -> Ring | None:
        """Return a sound ring in mm; add its faults to the list and return None where it has any."""
        if not self.is_sound(*path):
            return None
        vertices: Any = reduce(getitem, path, self.document)  # type: ignore[arg-type]
        ring = clean_ring(vertices, self.scale)
        found = check_ring(ring, path, what, self.scale)
        faults.extend(found)
        return None if found else ring

    def _floor(self, i: int, boundary: Ring, faults: list[Fault]) -> Any:
        """Return the floor polygon, or None where an island has a fault."""

        if self._has_fault_above("pockets", i, "islands"):
            return None
        paths: list[Path] = [("pockets", i, "islands", j) for j in range(len(self._raw(i).get("islands", [])))]
        what = f"of pocket {self._labels[i]}"
        found = [(path, self._ring(path, f"island {j} {what}", faults)) for j, path in enumerate(paths)]
        rings = [(path, ring) for path, ring in found if ring is not None]
        polygon, more = check_islands(boundary, rings, ("pockets", i), self._labels[i])
        faults.extend(more)
        return polygon if len(rings) == len(paths) else None

    # ---- numbers -----------------------------------------------------------------------------------------------

    def _number_faults(self) -> list[Fault]:
        faults = self._two_undersides()
        for i in self.indices:
            if self._has_sound_numbers(i):
                faults.extend(self._faults_of_numbers(i))
        return faults

    def _has_sound_numbers(self, i: int) -> bool:
        keys = ("id", "boundary", "floor_z", "slope", "corner_radius", *_INHERITED, *_SHAPED)
        is_sound = all(self.is_sound("pockets", i, key) for key in keys)
        return is_sound and self.is_sound("defaults") and self.is_sound("underside_z")

    def _two_undersides(self) -> list[Fault]:

        if not (self.is_sound("defaults") and self.is_sound("underside_z")):
            return []
        top, default = self.document.get("underside_z"), self.document.get("defaults", {}).get("underside_z")
        if top is None or default is None or abs(top - default) * self.scale <= DUST_MM:
            return []
        text = f"underside_z is {default:g} here and {top:g} at the top level. Keep one of them."
        return [Fault("two-undersides", ("defaults", "underside_z"), text)]

    def _faults_of_numbers(self, i: int) -> list[Fault]:

        faults = [*shape_faults(self._raw(i), ("pockets", i), self._labels[i], self.scale), *self._missing(i)]
        if faults or (self._is_shaped(i) and i not in self.has_sound_boundary):
            return faults
        pocket = self.pocket(i)
        places = {key: self._find(i, key)[1] for key in ("floor_z", "slope", "corner_radius", *_INHERITED)}
        faults = [*check_numbers(pocket, places), *self._web_disagrees(i)]
        if not faults and i in self.has_sound_boundary:
            faults = check_web(pocket, ("pockets", i))
        return faults

    def _is_shaped(self, i: int) -> bool:
        """Whether it has heights, which are taken at its centroid: its boundary must be sound."""
        return any(key in self._raw(i) for key in _SHAPED)

    def _missing(self, i: int) -> list[Fault]:

        needed = ["web_tolerance", "finish_stock"]
        if self._raw(i).get("web_constant"):
            needed.append("web")
        elif self._find(i, "web")[0] is None and "underside" not in self._raw(i):
            needed.append("underside_z")
        text = "pocket {} has no {}, and the defaults have none. Add it to one of them{}."
        return [
            Fault("missing", ("pockets", i, key), text.format(self._labels[i], key, _OR.get(key, "")))
            for key in needed
            if self._find(i, key)[0] is None
        ]

    def _find(self, i: int, key: str) -> tuple[Any, Path]:
        """Return a value and where it stands: in the pocket, else the defaults, else (underside) at the top."""
        path: Path = ("pockets", i, key)
        if key in self._raw(i):
            return self._raw(i)[key], path
        if key in _INHERITED and key in self.document.get("defaults", {}):
            return self.document["defaults"][key], ("defaults", key)
        if key == "underside_z" and key in self.document:
            return self.document[key], (key,)
        return None, path

    def _web_disagrees(self, i: int) -> list[Fault]:
        """Compare a stated web with floor and underside at the centroid, in the direction that it is stated in."""
        raw, pocket = self._raw(i), self.pocket(i)
        web, underside = self._find(i, "web")[0], self._find(i, "underside_z")[0]
        is_shaped = self._is_shaped(i)
        if not ({"web", "underside"} <= set(raw) if is_shaped else web is not None and underside is not None):
            return []
        steep = float(pocket.steepness_at(*pocket.centroid)) if pocket.web_along == "normal" else 1.0
        if abs(web * self.scale - pocket.web / steep) <= WEB_AGREES_MM + DUST_MM:
            return []
        if is_shaped:
            found = f"floor and underside at the centroid give {pocket.web / steep / self.scale:.7g}"
            remedy = "Correct one of the three."
        else:
            z = raw["floor_z"]
            found = f"floor_z - underside_z is {z:.10g} - {underside:.10g} = {z - underside:.6g}"
            remedy = "Correct one of the three; a pocket may state its own."
        text = f"pocket {self._labels[i]}: web is {web:.10g}, but {found}. {remedy}"
        return [Fault("web-disagrees", ("pockets", i, "web"), text)]

    def pocket(self, i: int) -> Pocket:
        """Build pocket i, once; its structure must be sound and nothing missing."""
        if i not in self._pockets:
            base = self._without_web(i)
            floor_z, underside, web = self._levels_at_centroid(i, base) if self._is_shaped(i) else self._levels(i)
            is_parallel = bool(self._raw(i).get("web_constant"))
            self._pockets[i] = replace(base, floor_z=floor_z, underside_z=underside, web=web, is_parallel=is_parallel)
        return self._pockets[i]

    def _without_web(self, i: int) -> Pocket:
        """Build pocket i before what its floor, underside and web are at its centroid."""
        raw, scale = self._raw(i), self.scale
        slope = raw.get("slope", (0.0, 0.0))
        islands = raw.get("islands", []) if self.is_sound("pockets", i, "islands") else []
        return Pocket(
            id=raw["id"],
            boundary=clean_ring(raw["boundary"], scale),
            islands=tuple(clean_ring(ring, scale) for ring in islands),
            floor_z=float(raw.get("floor_z", 0.0)) * scale,
            web=0.0,
            tolerance=tolerance_from(self._find(i, "web_tolerance")[0], scale),
            finish_stock=float(self._find(i, "finish_stock")[0]) * scale,
            slope=(float(slope[0]), float(slope[1])),
            corner_radius=float(raw.get("corner_radius", 0.0)) * scale,
            floor=patches_from(raw.get("floor", []), scale),
            underside=patches_from(raw.get("underside", []), scale),
            web_along=raw.get("web_along", "z"),
            tolerances=tolerances_from(raw.get("tolerances", []), scale),
        )

    def _levels_at_centroid(self, i: int, base: Pocket) -> tuple[float, float, float]:
        """Return floor_z, underside_z and web of a pocket with heights, mm."""
        floor_z = float(base.floor_at(*base.centroid))
        steep = float(base.steepness_at(*base.centroid)) if base.web_along == "normal" else 1.0
        web, underside = self._find(i, "web")[0], self._find(i, "underside_z")[0]
        if self._raw(i).get("web_constant"):
            along_z = float(web) * self.scale * steep
            return floor_z, floor_z - along_z, along_z
        if base.underside:
            under = float(base.underside_at(*base.centroid))
        else:
            under = floor_z - float(web) * self.scale * steep if underside is None else float(underside) * self.scale
        return floor_z, under, floor_z - under

    def _levels(self, i: int) -> tuple[float, float, float]:
        """Return floor_z, underside_z and web, mm; the stated web where it differs by float dust only."""
        floor_z = float(self._raw(i)["floor_z"])
        stated, underside = self._find(i, "web")[0], self._find(i, "underside_z")[0]
        if underside is None:
            underside = floor_z - stated
        web = floor_z - underside
        if stated is not None and abs(stated - web) * self.scale <= DUST_MM:
            web = float(stated)
        return floor_z * self.scale, float(underside) * self.scale, web * self.scale


_INHERITED = ("web", "web_tolerance", "finish_stock", "underside_z")
#: Keys that only ``floorfit-part/2`` has.
_SHAPED = ("floor", "underside", "web_constant", "web_along", "tolerances")
_OR = {"underside_z": ", or give the web", "finish_stock": "; 0 if roughing left nothing"}
