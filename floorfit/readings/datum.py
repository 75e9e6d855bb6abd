"""The part frame found from datum points: readings in machine coordinates brought to where the drawing has them.

The rigid transform by least squares (W. Kabsch, Acta Cryst. A32, 922–923, 1976; A34, 827–828, 1978): rotation by
the singular values of the covariance of nominal and measured points, never a reflection.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array, read_only
from floorfit.errors import ABOVE_ZERO, FINITE, Finding, InputError, check_ranges
from floorfit.identity import EXPANSION_PER_K
from floorfit.readings.columns import Field, Layout
from floorfit.readings.observations import Readings
from floorfit.readings.table_file import read_table
from floorfit.units import MM_PER_INCH

__all__ = ["Datums", "Frame", "datum_findings", "fit_frame", "read_datums", "readings_to_part", "same_shape"]

#: Largest distance of a datum from its nominal place after the fit, mm, unless set (common practice, no source).
LIMIT_MM = 0.5
#: Largest change of shape between two clampings, mm: a fifth of a web's tenth (our choice, no source).
SHAPE_LIMIT_MM = 0.020
#: Fewest points that show a change of shape.
FOR_SHAPE = 4
#: Height by which datum points may stand off the fit, or off the plate, mm: a third of a web's tenth (our choice, no
#: source). And standard uncertainties of the warp that are allowed for: of good corners of 40 invented plates, beyond
#: the last readings and with clamp marks, the worst was 4.8 off.
OFF_MM, OFF_U = 0.03, 6.0
#: Standard uncertainty of a datum point's Z, mm, by which their spread is judged (common practice, no source).
POINT_U_MM = 0.005
#: Largest tilt of the measured frame, degrees: the webs are read along Z, and 1° changes a reading by 0.015 %,
#: but a plate clamped at a larger angle was measured in another set-up (common practice, no source).
LARGEST_TILT_DEG = 5.0
#: Lengths in one unit over the same in another.
UNITS = (MM_PER_INCH, 1 / MM_PER_INCH, 10.0, 0.1, 1000.0, 0.001)
#: Datums are on a line when their spread across it is below this share of that along it.
COLLINEAR_SHARE = 1e-3


@dataclass(frozen=True)
class Datums:
    """Datum points, nominal and measured.

    Parameters
    ----------
    nominal, measured : (n, 3) ndarray, mm
        In the part frame, and in the machine's.
    names : tuple of str
        For messages.
    source : str
        File name for messages.
    """

    nominal: Array
    measured: Array
    names: tuple[str, ...]
    source: str = "datums"


@dataclass(frozen=True)
class Frame:
    """Machine to part: ``part = rotation @ (machine − origin) / growth``.

    Parameters
    ----------
    rotation : (3, 3) ndarray
        Proper rotation.
    origin : (3,) ndarray, mm
        Machine coordinates of the part's origin.
    growth : float
        Length in the machine over nominal length: 1 plus thermal expansion.
    residuals : (n, 3) ndarray, mm
        Measured datums brought to the part frame, minus nominal.
    rms : float, mm
        Root of the mean square distance.
    tilt_deg : float
        Angle between the machine's Z and the part's.
    names : tuple of str
        Names of the datums.
    nominal : (n, 3) ndarray, mm
        The datums in the part frame.
    """

    rotation: Array
    origin: Array
    growth: float
    residuals: Array
    rms: float
    tilt_deg: float
    names: tuple[str, ...] = ()
    nominal: Array = field(default_factory=lambda: np.empty((0, 3)))

    @property
    def distances(self) -> Array:
        """Of the measured datums from their nominal places, (n,) mm."""
        return np.asarray(np.linalg.norm(self.residuals, axis=1))

    def to_part(self, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> tuple[Array, Array, Array]:
        """Bring machine coordinates to the part frame, mm.

        Parameters
        ----------
        x, y, z : array_like, mm
            Machine coordinates of one shape. NaN in z is kept; x and y are then found for the height at which the
            part's Z is 0, which a tilt of 1° moves by 0.02 mm for each mm of height.

        Returns
        -------
        x, y, z : ndarray, mm
        """
        points = np.stack([np.asarray(v, float) for v in np.broadcast_arrays(x, y, z)], axis=-1)
        known = np.isfinite(points[..., 2])
        level = self._level(points[..., 0], points[..., 1])
        points[..., 2] = np.where(known, points[..., 2], level)
        out = (points - self.origin) @ self.rotation.T / self.growth
        return out[..., 0], out[..., 1], np.where(known, out[..., 2], np.nan)

    def _level(self, x: Array, y: Array) -> Array:
        """Machine Z of the part's plane Z = 0."""
        nx, ny, nz = self.rotation[2]
        return np.asarray(self.origin[2] - (nx * (x - self.origin[0]) + ny * (y - self.origin[1])) / nz)

    def document(self) -> dict[str, Any]:
        """Return what a record keeps, lengths in mm."""
        return {
            "rotation": self.rotation.tolist(),
            "origin_mm": self.origin.tolist(),
            "growth": self.growth,
            "rms_mm": self.rms,
            "tilt_deg": self.tilt_deg,
            "names": list(self.names),
            "residuals_mm": self.residuals.tolist(),
        }


def read_datums(path: str | os.PathLike[str]) -> Datums:
    """Read a file of datum points.

    Parameters
    ----------
    path : path
        CSV with ``x_mm``, ``y_mm``, ``z_mm`` (nominal), ``measured_x_mm``, ``measured_y_mm``, ``measured_z_mm``
        (or ``_in``), and ``name`` if wanted.

    Returns
    -------
    Datums
        In mm.

    Raises
    ------
    InputError
        If the file cannot be read or has faults.
    """
    axes = ("x", "y", "z", "measured_x", "measured_y", "measured_z")
    fields = {axis: Field(may_be_blank=False) for axis in axes}
    sheet = read_table(path, Layout(fields, axes, example=",".join(f"{axis}_mm" for axis in axes)))
    table = np.stack([sheet.numbers[axis] for axis in axes], axis=1)
    numbered = tuple(f"line {line}" for line in sheet.line)
    given = next((cells for name, cells in sheet.texts.items() if name.lower() == "name"), numbered)
    names = tuple(name.strip() or line for name, line in zip(given, numbered, strict=True))
    return Datums(table[:, :3], table[:, 3:], names, sheet.source)


def fit_frame(
    nominal: ArrayLike | Datums,
    measured: ArrayLike | None = None,
    *,
    limit_mm: float = LIMIT_MM,
    temperature_rise_k: float = 0.0,
    expansion_per_k: float = EXPANSION_PER_K,
) -> Frame:
    """Find the rigid transform from machine to part frame by least squares.

    Parameters
    ----------
    nominal : (n, 3) array_like, mm, or Datums
        Datum points in the part frame; n ≥ 3, not on a line.
    measured : (n, 3) array_like, mm
        The same points in the machine; left out where ``nominal`` is a `Datums`.
    limit_mm : float, mm
        Largest distance left at a datum.
    temperature_rise_k : float, K
        Metal temperature above that for which the drawing holds (20 °C): the part is larger by this times
        ``expansion_per_k``.
    expansion_per_k : float, 1/K
        Linear expansion.

    Returns
    -------
    Frame

    Raises
    ------
    InputError
        For fewer than 3 points, points on a line, mirrored or badly fitting ones, a tilted set-up, or a limit that is
        not above zero.

    Examples
    --------
    The part's zero stands at X 100, Y 200, Z 50 of the machine:

    >>> nominal = [[0, 0, 0], [400, 0, 0], [0, 300, 0]]
    >>> measured = [[100, 200, 50], [500, 200, 50], [100, 500, 50]]
    >>> [float(value) for value in fit_frame(nominal, measured).origin.round(6)]
    [100.0, 200.0, 50.0]
    """
    datums = nominal if isinstance(nominal, Datums) else _datums(nominal, measured)
    limits = [("limit_mm", limit_mm, ABOVE_ZERO), ("expansion_per_k", expansion_per_k, FINITE)]
    check_ranges("datums", [("temperature_rise_k", temperature_rise_k, FINITE), *limits])
    growth = 1.0 + temperature_rise_k * expansion_per_k
    _check_points(datums)
    a, b = datums.nominal * growth, datums.measured
    rotation = _rotation(a - a.mean(axis=0), b - b.mean(axis=0), allow_reflection=False)
    origin = b.mean(axis=0) - rotation.T @ a.mean(axis=0)
    residuals = (b - origin) @ rotation.T / growth - datums.nominal
    rms = float(np.sqrt((residuals**2).sum(axis=1).mean()))
    tilt = float(np.degrees(np.arccos(np.clip(rotation[2, 2], -1.0, 1.0))))
    read_only(rotation, origin, residuals)
    frame = Frame(rotation, origin, growth, residuals, rms, tilt, datums.names, datums.nominal)
    _check_fit(datums, frame, a, b, limit_mm)
    return frame


def same_shape(datums: Datums, limit_mm: float = SHAPE_LIMIT_MM) -> Frame:
    """Check that a part has kept its shape between two clampings: only a rigid move lies between.

    Parameters
    ----------
    datums : Datums
        Points as measured in the first clamping (nominal) and in the second; at least four, since three fit always.
    limit_mm : float, mm
        Largest distance left at a point after the rigid move is taken out.

    Returns
    -------
    Frame
        The rigid move.

    Raises
    ------
    InputError
        If there are too few points, the limit is not above zero, or the part bent or twisted between the clampings.
    """
    check_ranges("datums", [("limit_mm", limit_mm, ABOVE_ZERO)])
    if len(datums.nominal) < FOR_SHAPE:
        text = f"{len(datums.nominal)} points came, {FOR_SHAPE} or more were expected: three fit whatever the shape."
        raise _refusal(datums, "too-few-datums", text + " Measure more, spread over the part.")
    frame = fit_frame(datums)
    distance = frame.distances
    worst = int(np.argmax(distance))
    if distance[worst] > limit_mm:
        text = (
            f"{datums.names[worst]} is {distance[worst]:.3f} mm off after a rigid move, {limit_mm:g} mm is the limit: "
            "the plate took another shape in this clamping. Read the webs again as it is clamped now, and run "
            "`correct` anew."
        )
        raise _refusal(datums, "other-shape", text)
    return frame


def readings_to_part(frame: Frame, readings: Readings) -> Readings:
    """Bring readings in machine coordinates to the part frame; thickness and the rest stay as they are.

    Parameters
    ----------
    frame : Frame
        Where the part lies in the machine.
    readings : Readings
        Places and Z in machine coordinates, mm.
    """
    x, y, z = frame.to_part(readings.x, readings.y, readings.z)
    read_only(x, y, z)
    return replace(readings, x=x, y=y, z=z)


def datum_findings(
    frame: Frame,
    bounds: tuple[float, float, float, float],
    warp_at: Callable[[Array], Array],
    u_at: Callable[[Array], Array],
) -> tuple[Finding, ...]:
    """Say where the datum points' heights fit neither each other nor the plate, and where nothing can tell.

    Parameters
    ----------
    frame : Frame
    bounds : (x_min, y_min, x_max, y_max), mm
        The part's: beyond it the warp is not known.
    warp_at, u_at : callable
        Warp and its standard uncertainty at places (n, 2), mm.

    Notes
    -----
    Points on a fixture stand where they are nominal. Points on the plate stand as far from there as the plate is bent,
    all by the same height more. One Z that was mistyped tilts the frame, and is shared out over all points: a quarter
    of it is seen at each of four.
    """  # fmt: skip
    if narrow := _narrow(frame.nominal[:, :2], bounds):
        return narrow
    off, names, count = frame.residuals[:, 2], frame.names, len(frame.residuals)
    if count < FOR_SHAPE:
        text = f"{count} datum points fit whatever their Z. A fourth would show a mistyped one, or one that moved."
        return (Finding("datums-unchecked", "--datums", "", text, "note"),)
    at, most = frame.nominal[:, :2], float(np.abs(off).max())
    if most <= OFF_MM:
        return ()
    if not ((at >= np.array(bounds[:2]) - OFF_MM) & (at <= np.array(bounds[2:]) + OFF_MM)).all():
        text = (
            f"the datum points' Z stand {most:.3f} mm off a plane, and beyond the part nobody knows whether the plate "
            "is bent so or one was mistyped. Measure them again, or some on the part."
        )
        return (Finding("datums-unchecked", "--datums", "", text, "warning"),)
    of_plate = off - warp_at(at)
    gap = np.abs(of_plate - np.median(of_plate)) - OFF_U * u_at(at)
    worst = int(np.argmax(gap))
    if gap[worst] <= OFF_MM:
        return ()
    text = (
        f"the datum points' Z stand {most:.3f} mm off a plane, and not as the plate is bent where "
        f"they are ({names[worst]} by {abs(float(of_plate[worst] - np.median(of_plate))):.3f} mm): one was mistyped, "
        "or they were measured in another set-up, and every offset hangs on them. Measure them again."
    )
    return (Finding("datums-off", "--datums", "", text, "warning"),)


def _narrow(at: Array, bounds: tuple[float, float, float, float]) -> tuple[Finding, ...]:
    """Say where datum points lie so near to one line that their plane is not known at the part's far corner.

    Its uncertainty at x is u √(xᵀ(AᵀA)⁻¹x), A of the rows (1, x, y) (JCGM 100:2008, H.3, in the plane).
    """
    corners = np.array([(x, y) for x in bounds[::2] for y in bounds[1::2]])
    middle, n = at.mean(axis=0), len(at)
    spread = np.linalg.pinv((at - middle).T @ (at - middle))
    u = POINT_U_MM * np.sqrt(1 / n + np.einsum("ki,ij,kj->k", corners - middle, spread, corners - middle))
    far = int(np.argmax(u))
    if u[far] <= OFF_MM:
        return ()
    text = (
        f"the datum points lie nearly on a line, or close together: where each is known to {POINT_U_MM:g} mm, the "
        f"plate's height at ({corners[far][0]:.0f}, {corners[far][1]:.0f}) is known to {u[far]:.3f} mm alone. Measure "
        "points that are spread over the part."
    )
    return (Finding("datums-narrow", "--datums", "", text, "warning"),)


def _datums(nominal: ArrayLike, measured: ArrayLike | None) -> Datums:
    a, b = np.array(nominal, float), np.array(measured, float)
    if a.ndim != 2 or a.shape[1:] != (3,) or a.shape != b.shape:
        raise InputError("nominal and measured datums must both be (n, 3): X, Y and Z of each point.")
    return Datums(a, b, tuple(f"point {k}" for k in range(1, len(a) + 1)))


def _rotation(a: Array, b: Array, *, allow_reflection: bool) -> Array:
    """Rotation that brings centred b onto centred a best."""
    u, _, vt = np.linalg.svd(a.T @ b)
    sign = 1.0 if allow_reflection or np.linalg.det(u @ vt) > 0 else -1.0
    return np.asarray(u @ np.diag([1.0, 1.0, sign]) @ vt)


def _refusal(datums: Datums, code: str, text: str) -> InputError:
    return InputError([Finding(code, datums.source, "", text)])


def _check_points(datums: Datums) -> None:
    n = len(datums.nominal)
    if n < 3:
        raise _refusal(datums, "too-few-datums", f"{n} datum points came, 3 or more were expected. Measure more.")
    for points, what in ((datums.nominal, "nominal"), (datums.measured, "measured")):
        if not np.isfinite(points).all():
            raise _refusal(datums, "not-finite", f"a {what} coordinate is not a number. Fill it in.")
        spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
        if spread[1] <= COLLINEAR_SHARE * spread[0] or spread[0] == 0:
            text = (
                f"the {what} datum points lie on a line (or in one place): a turn about it is not known. Add one aside."
            )
            raise _refusal(datums, "collinear-datums", text)


def _check_fit(datums: Datums, frame: Frame, a: Array, b: Array, limit: float) -> None:
    most = float(frame.distances.max())
    if frame.tilt_deg > 180.0 - LARGEST_TILT_DEG and most <= limit:
        text = "the datums fit only upside down: X and Y exchanged, one axis of the other sign, or Z downwards. "
        raise _refusal(datums, "mirrored-datums", text + "Correct the axes.")
    if most > limit:
        raise _bad_fit(datums, frame.distances, a - a.mean(axis=0), b - b.mean(axis=0), limit)
    if frame.tilt_deg > LARGEST_TILT_DEG:
        text = (
            f"the part's Z is {frame.tilt_deg:.2f}° off the machine's, {LARGEST_TILT_DEG:g}° is the most: the webs are "
            "read along Z. Measure in the set-up in which the floors are cut."
        )
        raise _refusal(datums, "tilted-datums", text)


def _bad_fit(datums: Datums, distance: Array, a: Array, b: Array, limit: float) -> InputError:
    """Say whether a reflection would have fitted, and else which datum is worst."""
    flipped = _rotation(a, b, allow_reflection=True)
    left = np.linalg.norm(b @ flipped.T - a, axis=1)
    if np.linalg.det(flipped) < 0 and float(left.max()) <= limit:
        text = "the measured datums are a mirror image of the nominal ones: X and Y are exchanged, or one axis has "
        return _refusal(datums, "mirrored-datums", text + "the other sign. Correct the axes.")
    ratio = float(np.linalg.norm(b) / np.linalg.norm(a))
    if any(abs(ratio / unit - 1.0) < 0.01 for unit in UNITS):
        text = f"the measured datums lie {ratio:.4g} times as far apart as the nominal ones: they are in another unit. "
        return _refusal(datums, "datum-unit", text + "Give all in the unit that the header names.")
    worst = int(np.argmax(distance))
    text = (
        f"{datums.names[worst]} is {distance[worst]:.3f} mm off after the best fit, {limit:g} mm is the limit. Measure "
        "the datums again, check their names, or set the limit."
    )
    return _refusal(datums, "bad-datum-fit", text)
