"""Bodies that touch or overlap under a floor: the web is then more than what one body has."""

from __future__ import annotations

import numpy as np
import shapely

from floorfit.cad.candidates_found import Candidate
from floorfit.cad.facet_heights import facets_at, z_of_planes
from floorfit.cad.mesh import Floats, Mesh, component_labels
from floorfit.errors import Finding

__all__ = ["touching_notes"]


#: Places that are looked at under each floor.
_PLACES = 200
#: This far below a web there has to be air, mm.
_BELOW = 1e-3


def touching_notes(mesh: Mesh, floors: list[Candidate], source: str) -> list[Finding]:
    """A warning for each floor under which another body begins where the web ends, or before.

    Parameters
    ----------
    mesh : Mesh
    floors : list of Candidate
    source : str
        File name for messages.

    Notes
    -----
    Below the underside of a web the winding number of the surface has to be 0: of the facets above a place, as many
    look up as look down. A mesh of one shell without edges of more than two facets is not asked.
    """
    if not mesh.crowded_edges and component_labels(len(mesh.faces), mesh.pairs).max(initial=0) == 0:
        return []
    facets = np.flatnonzero(np.abs(mesh.plan_areas) > 1e-9)
    under = [_under(floor, max(_BELOW, 8.0 * mesh.noise)) for floor in floors]
    places, owner = np.concatenate(under), np.repeat(np.arange(len(under)), [len(one) for one in under])
    row, facet, z = facets_at(mesh, facets, places[:, :2])
    above = z > places[row, 2]
    winding = np.bincount(row[above], np.sign(mesh.plan_areas[facet[above]]), len(places))
    inside = np.flatnonzero(winding > 0.5)
    first = inside[np.unique(owner[inside], return_index=True)[1]]
    text = (
        "under the floor at ({:.5g}, {:.5g}) another body begins where the web ends, or in it: the web that was "
        "written is that of one body. Join the bodies, choose one with --body, or export it alone."
    )
    return [Finding("bodies-touch", source, "", text.format(*places[k, :2]), "warning") for k in first]


def _under(floor: Candidate, below: float) -> Floats:
    """Places a little below the underside of a floor's web, (n, 3), mm; seeded."""
    x0, y0, x1, y1 = floor.polygon.bounds
    xy = np.array([x0, y0]) + np.random.default_rng(1).random((_PLACES, 2)) * (x1 - x0, y1 - y0)
    place, shape = shapely.STRtree(floor.web.shapes).query(shapely.points(xy), predicate="within")
    z = z_of_planes(xy[place], floor.web.points[shape], floor.web.normals[shape])
    return np.column_stack([xy[place], z - below])
