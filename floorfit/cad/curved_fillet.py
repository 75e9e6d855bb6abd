"""The radius of the fillet between a curved floor and its walls."""

from __future__ import annotations

import numpy as np

from floorfit.cad.facet_heights import Heights
from floorfit.cad.mesh import Ints, Mesh

__all__ = ["curved_fillet_radius"]

#: Facets that lean over the floor by this much are asked, degrees: far from the noise at the foot, short of the wall.
_LEAN = (20.0, 70.0)
#: At most this many are.
_MOST = 400
#: The floor's normal is that of the nearest facet at least this high, mm: a sliver's says little.
_SOUND = 1.0


def curved_fillet_radius(mesh: Mesh, floor: Ints, face: Heights, leaning: Ints) -> float:
    """Radius of the fillet round a curved floor, mm; 0 where there is none.

    Parameters
    ----------
    mesh : Mesh
    floor : ndarray of int
        Facets of the floor.
    face : Heights
        The floor's heights.
    leaning : ndarray of int
        Facets of the fillets that touch it.

    Notes
    -----
    A chord of a fillet of radius r that leans by t over the floor, and spans an angle d, has its middle
    m = r (1 − cos t cos d/2) over the floor and rises by 2 s sin t along it, s = r sin d/2. So
    r² sin² t − 2 m r + m² + s² cos² t = 0, of which the larger root counts. The median of the facets is taken.
    """
    from scipy.spatial import cKDTree

    sound = floor[mesh.heights[floor] >= _SOUND]
    sound = sound if len(sound) else floor
    asked = leaning[:: max(1, len(leaning) // _MOST)]
    if len(asked) == 0:
        return 0.0
    corners = mesh.corners[asked]
    _, near = cKDTree(mesh.middles[sound][:, :2]).query(mesh.middles[asked][:, :2])
    normals = mesh.normals[sound[near]]
    over = corners[:, :, 2] - face.at(corners[:, :, :2].reshape(-1, 2)).reshape(-1, 3)
    high, low = (end(over, axis=1) * normals[:, 2] for end in (np.max, np.min))
    c = np.einsum("ij,ij->i", normals, mesh.normals[asked])
    mine = (c < np.cos(np.radians(_LEAN[0]))) & (c > np.cos(np.radians(_LEAN[1]))) & (high > 0.0)
    if not mine.any():
        return 0.0
    m, c, sine = (high + low)[mine] / 2.0, c[mine], np.sqrt(1.0 - c[mine] ** 2)
    s = (high - low)[mine] / 2.0 / sine
    return float(np.median((m + np.sqrt(np.maximum(m**2 - sine**2 * (m**2 + (c * s) ** 2), 0.0))) / sine**2))
