"""Carry out the edits of a review: on the recognised faces, and on the pockets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from floorfit.cad.boundary import Rim
from floorfit.cad.candidates_found import Candidate, Smoothed, part_of, with_web
from floorfit.cad.drawing import largest_polygon, polygon_parts
from floorfit.cad.edits import SHAPING, Edit
from floorfit.cad.extracted import Floor, RejectedFace
from floorfit.cad.facet_heights import Facets
from floorfit.cad.recognise import Recognition, refused_face
from floorfit.errors import Finding, InputError
from floorfit.part.model import Pocket, Tolerance

__all__ = ["edited_faces", "edited_pockets"]

#: Faces within this of each other may be merged, mm.
_TOUCH = 0.01


def edited_faces(found: Recognition, edits: Sequence[Edit], unit_mm: float) -> Recognition:
    """Take, drop, split and merge faces.

    Parameters
    ----------
    found : Recognition
        What was recognised.
    edits : sequence of Edit
    unit_mm : float
        Millimetres in one unit of the edits.

    Raises
    ------
    InputError
        If no face, or no face of the kind wanted, lies at a place.
    """
    shaping = [edit for edit in edits if edit.action in SHAPING]
    if not shaping:
        return found
    known, floors, refused, rejected = found.known, list(found.floors), list(found.refused), list(found.rejected)
    for edit in shaping:
        if edit.action == "take":
            face = _at(refused, edit.place, unit_mm, edit, "face that was not taken")
            refused, rejected = _without(refused, face), _unreject(rejected, face)
            floors.append(_taken(known, face, edit))
            continue
        face = _at(floors, edit.place, unit_mm, edit, "floor")
        floors = _without(floors, face)
        if edit.action == "drop":
            rejected.append(refused_face(face, "dropped", f"dropped by {edit.where}"))
        elif edit.action == "split":
            floors += _split(known, face, edit, unit_mm)
        else:
            pairs = [tuple(edit.numbers[k : k + 2]) for k in range(0, len(edit.numbers), 2)]
            for place in pairs:
                other = _at(floors, place, unit_mm, edit, "floor")
                floors, face = _without(floors, other), _merged(known, face, other, edit)
            floors.append(face)
    settled = {id(face) for face in floors}
    kinks = [
        (floors.index(found.floors[i]), floors.index(found.floors[j]), turn)
        for i, j, turn in found.kinks
        if id(found.floors[i]) in settled and id(found.floors[j]) in settled
    ]
    return replace(found, floors=floors, refused=refused, rejected=rejected, kinks=kinks)


def _without(faces: list[Candidate], gone: Candidate) -> list[Candidate]:
    return [face for face in faces if face is not gone]


def _unreject(rejected: list[RejectedFace], face: Candidate) -> list[RejectedFace]:
    ring = refused_face(face, "", "").outline
    return [one for one in rejected if one.outline != ring]


def _at(faces: list[Candidate], place: tuple[float, ...], unit_mm: float, edit: Edit, what: str) -> Candidate:
    """The face at a place; of several the one nearest in Z, or the lowest where no Z is given."""
    x, y = place[0] * unit_mm, place[1] * unit_mm
    here = [face for face in faces if shapely.intersects_xy(face.polygon, x, y)]
    if not here:
        spot = " ".join(f"{value:g}" for value in place)
        text = f"{edit.action}: no {what} lies at {spot}. Look at the picture, and give a place well inside it."
        raise InputError([Finding("no-face", edit.where, "", text)])
    level = place[2] * unit_mm if len(place) > 2 else -np.inf
    return min(here, key=lambda face: abs(face.z_at(x, y) - level) if np.isfinite(level) else face.z_at(x, y))


def _taken(known: Smoothed, face: Candidate, edit: Edit) -> Candidate:
    """A face that no rule takes, with its web."""
    face = face if len(face.web.shapes) else with_web(known, face)
    if len(face.web.shapes) == 0:
        text = f"take: the face at {edit.place[0]:g} {edit.place[1]:g} has no metal below. Enter it by hand."
        raise InputError([Finding("no-metal", edit.where, "", text)])
    return face


def _split(known: Smoothed, face: Candidate, edit: Edit, unit_mm: float) -> list[Candidate]:
    a, b = np.array(edit.numbers).reshape(2, 2) * unit_mm
    line = shapely.LineString([a, b])
    parts = polygon_parts(face.polygon.difference(line.buffer(1e-6, cap_style="square")))
    if len(parts) < 2:
        text = "split: the line does not cross the floor from edge to edge. Make it longer."
        raise InputError([Finding("no-split", edit.where, "", text)])
    cuts = line.intersection(face.polygon)
    return [part_of(known, face, part, shapely.union_all([face.cuts, cuts]), face.roofed) for part in parts]


def _merged(known: Smoothed, a: Candidate, b: Candidate, edit: Edit) -> Candidate:
    """Two faces that touch, as one of two planes or more."""
    if not a.polygon.dwithin(b.polygon, _TOUCH):
        raise InputError([Finding("no-merge", edit.where, "", "merge: the floors do not touch. Name neighbours.")])
    grown = shapely.union_all([face.polygon.buffer(_TOUCH / 2.0, join_style="mitre") for face in (a, b)])
    polygon = largest_polygon(grown.buffer(-_TOUCH / 2.0, join_style="mitre"))
    pieces = [_pieces(a), _pieces(b)]
    face = Facets(*(np.concatenate(column) for column in zip(*pieces, strict=True)))
    rim = _joined_rim(known, a.rim, b.rim, polygon)
    whole = replace(
        a, polygon=polygon, face=face, sag=max(a.sag, b.sag), rim=rim,
        facets=np.concatenate([a.facets, b.facets]),
    )  # fmt: skip
    return with_web(known, replace(whole, walled=rim.share(rim.risen)))


def _pieces(face: Candidate) -> tuple[NDArray[np.object_], NDArray[np.float64], NDArray[np.float64]]:
    if isinstance(face.face, Facets):
        return face.face.pieces, face.face.points, face.face.normals
    return np.array([face.polygon], object), face.point[None, :], face.normal[None, :]


def _joined_rim(known: Smoothed, a: Rim, b: Rim, polygon: Polygon) -> Rim:
    """Both rims without the edges between the two faces."""
    columns = [
        np.concatenate([getattr(a, name), getattr(b, name)])
        for name in ("edges", "lengths", "inner", "outer", "rise", "on_outline")
    ]
    middle = shapely.points(known.mesh.vertices[columns[0]].mean(axis=1)[:, :2])
    outside = shapely.dwithin(polygon.boundary, middle, 2.0 * _TOUCH)
    columns[5] = shapely.dwithin(polygon.exterior, middle, 2.0 * _TOUCH)
    return Rim(*(column[outside] for column in columns))


def edited_pockets(
    pockets: Sequence[Pocket], floors: Sequence[Floor], edits: Sequence[Edit], unit_mm: float
) -> tuple[list[Pocket], list[Floor]]:
    """Rename pockets, and give them tolerance, stock and web.

    Parameters
    ----------
    pockets : sequence of Pocket
    floors : sequence of Floor
        As recognised, one for each pocket.
    edits : sequence of Edit
    unit_mm : float
        Millimetres in one unit of the edits.

    Raises
    ------
    InputError
        If no pocket has the id, or none lies at the place.
    """
    pockets, floors = list(pockets), list(floors)
    for edit in edits:
        if edit.action in SHAPING:
            continue
        for index in _pockets_at(pockets, edit, unit_mm):
            pockets[index] = _changed(pockets[index], edit, unit_mm)
            if edit.action == "rename":
                floors[index] = replace(floors[index], id=edit.text)
            if edit.action == "web":
                web = pockets[index].web
                floors[index] = replace(
                    floors[index], web=web, web_min=web, web_max=web, underside=(), edge=0.0,
                    underside_z=pockets[index].underside_z, is_parallel=pockets[index].is_parallel, web_along="z",
                )  # fmt: skip
    return pockets, floors


def _pockets_at(pockets: list[Pocket], edit: Edit, unit_mm: float) -> list[int]:
    if edit.name == "all" and edit.action != "rename":
        return list(range(len(pockets)))
    if edit.name:
        found = [k for k, pocket in enumerate(pockets) if pocket.id == edit.name]
    else:
        x, y = edit.place[0] * unit_mm, edit.place[1] * unit_mm
        found = [k for k, pocket in enumerate(pockets) if shapely.intersects_xy(pocket.polygon, x, y)]
        if len(edit.place) > 2 and len(found) > 1:
            level = edit.place[2] * unit_mm
            found = [min(found, key=lambda k: abs(float(pockets[k].floor_at(x, y)) - level))]
    if not found:
        spot = edit.name or " ".join(f"{value:g}" for value in edit.place)
        text = f"{edit.action}: no pocket is called or lies at {spot}. Look at the picture and correct it."
        raise InputError([Finding("no-pocket", edit.where, "", text)])
    return found[:1]


def _changed(pocket: Pocket, edit: Edit, unit_mm: float) -> Pocket:
    if edit.action == "rename":
        return replace(pocket, id=edit.text)
    if edit.action == "tolerance":
        return replace(pocket, tolerance=Tolerance(edit.numbers[0] * unit_mm, edit.numbers[1] * unit_mm))
    if edit.action == "stock":
        return replace(pocket, finish_stock=edit.numbers[0] * unit_mm)
    web = edit.numbers[0] * unit_mm
    slanted = bool(pocket.floor) or any(pocket.slope)
    return replace(pocket, web=web, underside_z=pocket.floor_z - web, underside=(), is_parallel=slanted, web_along="z")
