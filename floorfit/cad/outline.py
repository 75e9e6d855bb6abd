"""Outline of the whole part in plan."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from floorfit.cad.drawing import largest_polygon, region_polygon, tidy_polygon, triangles_in_plan
from floorfit.cad.mesh import Mesh, component_labels

__all__ = ["part_outline"]


def part_outline(mesh: Mesh) -> shapely.Polygon:
    """Outer outline of everything that looks up, mm; windows are filled.

    Notes
    -----
    Facets that look up are joined by their shared edges into patches, each patch is one polygon, and the polygons
    are united: cost grows with the edges of the patches, not with the facets.
    """
    up = _looking_up(mesh)
    both = up[mesh.pairs].all(axis=1)
    label = component_labels(len(up), mesh.pairs[both])
    facets = np.flatnonzero(up)
    facets = facets[np.argsort(label[facets], kind="stable")]
    _, start, size = np.unique(label[facets], return_index=True, return_counts=True)
    lone = facets[start[size == 1]]
    shapes: list[shapely.Geometry] = list(triangles_in_plan(mesh, lone))
    shapes += [region_polygon(mesh, facets[i : i + n]) for i, n in zip(start[size > 1], size[size > 1], strict=True)]
    return _outer(shapes, max(1e-3, 4.0 * mesh.noise), mesh.noise)


def _looking_up(mesh: Mesh) -> NDArray[np.bool_]:
    """Facets that look up, and slivers without a normal of their own that lie among such facets."""
    sliver = mesh.heights < 10.0 * mesh.noise
    up = (mesh.normals[:, 2] > 1e-4) & ~sliver
    f, g = mesh.pairs[:, 0], mesh.pairs[:, 1]
    among = np.bincount(f, up[g], len(up)) + np.bincount(g, up[f], len(up))
    return np.asarray(up | (sliver & (among == 3)))


def _outer(shapes: list[shapely.Geometry], reach: float, noise: float) -> shapely.Polygon:
    filled = [
        shapely.Polygon(part.exterior)
        for part in shapely.get_parts(np.array(shapes, object))
        if part.area > reach * part.length
    ]
    grown: NDArray[np.object_] = shapely.buffer(np.array(filled, object), reach, join_style="mitre")
    whole = largest_polygon(shapely.unary_union(grown))
    back = largest_polygon(shapely.Polygon(whole.exterior).buffer(-reach, join_style="mitre"))
    return tidy_polygon(shapely.Polygon(back.exterior), max(1e-4, 2.0 * noise))
