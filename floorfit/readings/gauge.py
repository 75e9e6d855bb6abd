"""The ultrasonic gauge: calibrated on step blocks, with what stays unknown.

One block sets the scale, two set scale and zero, three or more a least-squares line (the one-point and two-point
practice of ASTM E797; the line is the same with more blocks). A time of flight becomes half the path in time, so
that the slope is the velocity: t = v·TOF/2 (ASTM E797, 4.1).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from floorfit.arrays import Array
from floorfit.errors import NOT_NEGATIVE, Finding, Range, check_ranges
from floorfit.readings.components import Budget, Component, combine_components
from floorfit.readings.step_blocks import Blocks, check_blocks
from floorfit.readings.warp import DEFAULT_U_MM

__all__ = ["BlockResult", "Gauge", "calibrate"]

Method = Literal["one-point", "two-point", "line"]
Kind = Literal["thickness", "tof"]

#: Velocity in aluminium falls with temperature: −0.00015 to −0.00018 per °C, from memory (reference values U3);
#: half of that width as standard uncertainty.
K_PER_C = -0.000165
K_U_PER_C = 0.00001
#: Velocities of sound between which blocks may be of the part's metal, mm/µs: aluminium alloys 6.23 to 6.38 (reference
#: values U2), titanium 6.07, steel 5.9 (ASTM E494, table X3.1; the last two from memory).
VELOCITIES = (6.0, 6.8)
#: Scales between which a thickness gauge is set for the blocks' metal: blocks of steel on a gauge set for aluminium
#: make 5.9/6.32 = 0.93, a gauge set for steel 1.07 on blocks of aluminium, which calibration undoes.
SCALES = (0.95, 1.1)
#: Residual of a block, and scatter of readings of one block, from which they are told, mm: a fifth and a quarter of a
#: web's tenth; the scatter needs so many degrees of freedom (our choice, no source).
OFF_LINE_MM, SCATTER_MM, FOR_SCATTER = 0.02, 0.025, 4
#: A coefficient beyond this is in another unit: no metal's velocity changes by a percent for each degree.
MOST_K_PER_C = 0.01
#: Standard uncertainty of a block's stated thickness where the file has none, mm (common practice, no source).
BLOCK_U_MM = 0.001
#: A display step of 0.01 mm gives 0.01/√12 (JCGM 100:2008, 4.3.7): no reading is better than that.
RESOLUTION_MM = 0.01
#: One block leaves the zero unknown by about this, mm, standard (reference values U4: 0.004 mm on a good gauge).
ZERO_U_MM = 0.005
#: Standard uncertainty of a measured metal temperature, °C (common practice, no source).
TEMPERATURE_U_C = 1.0
#: Degrees of freedom from which a scatter is taken as it is: k = 2 covers 93 % by itself (Student's t).
ENOUGH_FREEDOM = 10


@dataclass(frozen=True)
class BlockResult:
    """One step of the block: n readings of it against the line.

    Parameters
    ----------
    true, reading : float, mm
        Stated thickness and mean reading (half the time of flight in µs for ``tof``).
    count : int
        Readings of it.
    residual : float, mm
        Stated thickness minus the line at the mean reading.
    sd : float, mm
        Standard deviation of the readings turned into thickness; NaN for one reading.
    """

    true: float
    reading: float
    count: int
    residual: float
    sd: float


@dataclass(frozen=True)
class Gauge:
    """A calibrated gauge: ``thickness = scale · reading + zero``.

    Parameters
    ----------
    kind : {"thickness", "tof"}
        What it is applied to.
    method : {"one-point", "two-point", "line"}
        How it was calibrated.
    scale : float
        Gain; for ``tof`` the velocity in mm/µs, applied to TOF/2.
    zero : float, mm
        Added after scaling; 0 for one point.
    covariance : ((float, float), (float, float))
        Of scale and zero: from scatter, widened by Student's t where few readings show it, and from the blocks' own
        uncertainty (JCGM 100:2008, H.3).
    sd : float, mm
        Standard deviation of one reading about the line, not below the display step's.
    dof : float
        Its degrees of freedom; 0 where the readings leave none, and ``sd`` is the display step's alone.
    true_min, true_max : float, mm
        Thinnest and thickest block: the range in which the line is known.
    temperature : float, °C
        Mean temperature of the blocks; NaN where not given, and then no temperature correction is made.
    k_per_c, k_u_per_c : float, 1/°C
        Temperature coefficient of the velocity, and its standard uncertainty.
    blocks : tuple of BlockResult
        Each step, thinnest first.
    source : str
        File of the blocks.
    identity : mapping of str to str
        Facts that the file of the blocks states: which gauge, when.
    """

    kind: Kind
    method: Method
    scale: float
    zero: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    sd: float
    dof: float
    true_min: float
    true_max: float
    temperature: float
    k_per_c: float
    k_u_per_c: float
    blocks: tuple[BlockResult, ...]
    source: str = ""
    identity: Mapping[str, str] = field(default_factory=dict)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Warnings: blocks that the line does not fit, and a scale or velocity that is not the metal's."""
        told = {"large-residual": _off_line(self.blocks), "scattered-blocks": _scattered(self.blocks)}
        told["far-velocity" if self.kind == "tof" else "far-scale"] = _far(self.scale, self.kind)
        return tuple(Finding(code, self.source, "", text, "warning") for code, text in told.items() if text)

    @property
    def zero_time_us(self) -> float:
        """Time of flight at no thickness, µs: t = v/2·(TOF − zero time); NaN for a thickness gauge."""
        return -2.0 * self.zero / self.scale if self.kind == "tof" else float("nan")

    def velocity_setting(self, set_mm_per_us: float) -> float:
        """Velocity to set on a thickness gauge that is set to another now, mm/µs."""
        return set_mm_per_us * self.scale

    def thickness(self, reading: ArrayLike, temperature_c: ArrayLike = np.nan) -> Array:
        """Turn readings (mm, or half times of flight in µs) into thickness, mm.

        Parameters
        ----------
        reading : (n,) array_like
            mm, or half times of flight in µs.
        temperature_c : (n,) array_like, °C
            NaN where not measured.

        Examples
        --------
        >>> from floorfit.readings.step_blocks import blocks_from_arrays
        >>> gauge = calibrate(blocks_from_arrays([1.0, 4.0], [1.0, 4.0]))
        >>> float(gauge.thickness(2.0).round(6))
        2.0
        """
        return np.asarray(self.scale * self._corrected(reading, temperature_c) + self.zero)

    def common_u(self, reading: ArrayLike, temperature_c: ArrayLike = np.nan) -> Array:
        """Standard uncertainty that all readings share, mm: calibration and temperature coefficient.

        Parameters
        ----------
        reading : (n,) array_like
            mm, or half times of flight in µs.
        temperature_c : (n,) array_like, °C
            NaN where not measured.
        """
        x = self._corrected(reading, temperature_c)
        (a, b), (_, c) = self.covariance
        line = a * x * x + 2.0 * b * x + c
        step = self._step(temperature_c)
        coefficient = self.scale * x * step * self.k_u_per_c
        is_known = np.isfinite(np.asarray(temperature_c, float) - self.temperature)
        thermometer = np.where(is_known, self.scale * x * self.k_per_c * TEMPERATURE_U_C, 0.0)
        return np.asarray(np.sqrt(np.maximum(line, 0.0) + coefficient**2 + thermometer**2))

    def budget(self, reading: float, temperature_c: float = float("nan")) -> Budget:
        """Budget of one thickness (JCGM 100:2008): what is shared, and the scatter of one reading.

        Parameters
        ----------
        reading : float
            mm, or half a time of flight in µs.
        temperature_c : float, °C
            NaN where not known.
        """
        common = float(self.common_u(reading, temperature_c))
        few = self.dof if self.dof > 0 else float("inf")
        return combine_components([Component("calibration", common, few), Component("one reading", self.sd, few)])

    def _step(self, temperature_c: ArrayLike) -> Array:
        """Degrees above the blocks; 0 where either is not known."""
        return np.asarray(np.nan_to_num(np.asarray(temperature_c, float) - self.temperature, nan=0.0))

    def _corrected(self, reading: ArrayLike, temperature_c: ArrayLike) -> Array:
        # t = TOF/2 · v0 (1 + k (T − T0)): reference values U3.
        return np.asarray(np.asarray(reading, float) * (1.0 + self.k_per_c * self._step(temperature_c)))


def calibrate(
    blocks: Blocks,
    *,
    method: Method | None = None,
    web_range: tuple[float, float] | None = None,
    k_per_c: float = K_PER_C,
    k_u_per_c: float = K_U_PER_C,
    resolution_mm: float = RESOLUTION_MM,
    zero_u_mm: float = ZERO_U_MM,
    reading_u_mm: float = DEFAULT_U_MM,
) -> Gauge:
    """Calibrate a gauge on step blocks.

    Parameters
    ----------
    blocks : Blocks
        Stated thickness against readings or times of flight; several readings of a step are repeats.
    method : {"one-point", "two-point", "line"}, optional
        By the number of steps when left out: one, two, or more.
    web_range : (float, float), mm, optional
        Thinnest and thickest web that will be read: the blocks must reach beyond both.
    k_per_c, k_u_per_c : float, 1/°C
        Temperature coefficient of the velocity and its standard uncertainty.
    resolution_mm : float, mm
        Display step.
    zero_u_mm : float, mm
        Standard uncertainty of the zero where one block alone was read.
    reading_u_mm : float, mm
        Standard uncertainty of a reading, taken where the readings leave no freedom to show their scatter.

    Returns
    -------
    Gauge

    Raises
    ------
    InputError
        If the blocks are not fit for the method, a row is a second echo or in another unit, the webs lie outside the
        blocks, or a setting is out of its range.

    Examples
    --------
    Two steps: the gauge shows 2 % too much and 0.01 mm more.

    >>> from floorfit.readings.step_blocks import blocks_from_arrays
    >>> gauge = calibrate(blocks_from_arrays([1.0, 1.0, 4.0, 4.0], [1.03, 1.03, 4.09, 4.09]))
    >>> round(float(gauge.thickness(2.05)), 6)
    2.0
    """
    given = {"k_u_per_c": k_u_per_c, "resolution_mm": resolution_mm, "zero_u_mm": zero_u_mm}
    given["reading_u_mm"] = reading_u_mm
    others = [(name, value, NOT_NEGATIVE) for name, value in given.items()]
    check_ranges(
        "calibrate",
        [("k_per_c", k_per_c, Range("a number within ± 0.01", -MOST_K_PER_C, MOST_K_PER_C)), *others],
    )
    steps, _ = blocks.steps
    chosen: Method = method or ("one-point" if len(steps) == 1 else "two-point" if len(steps) == 2 else "line")
    check_blocks(blocks, chosen, web_range)
    kind: Kind = "tof" if blocks.is_tof else "thickness"
    temperature = float(np.nanmean(blocks.temperature)) if np.isfinite(blocks.temperature).any() else float("nan")
    off = np.nan_to_num(blocks.temperature - temperature, nan=0.0)
    x = (blocks.reading / 2.0 if blocks.is_tof else blocks.reading) * (1.0 + k_per_c * off)
    scale, zero, A = _line(x, blocks.true, chosen == "one-point")
    sd, dof = _scatter(blocks.true - scale * x - zero, chosen, resolution_mm)
    covariance = _covariance(A, _widened(sd, dof, reading_u_mm), blocks)
    if chosen == "one-point":  # pinned at the mean reading, its zero unknown
        slope = np.array([-1.0 / x.mean(), 1.0])
        covariance += zero_u_mm**2 * np.outer(slope, slope)
    (a, b), (_, c) = covariance.tolist()
    return Gauge(
        kind, chosen, scale, zero, ((a, b), (b, c)), sd, float(dof), float(steps[0]), float(steps[-1]),
        temperature, k_per_c, k_u_per_c, _per_block(x, blocks, scale, zero), blocks.source, blocks.identity,
    )  # fmt: skip


def _line(x: Array, true: Array, is_through_zero: bool) -> tuple[float, float, Array]:
    """Return scale, zero and the matrix (2, n) that makes them from the stated thicknesses.

    ``x`` is centred before solving, as ill-conditioned lines need.
    """
    n, middle = len(x), x.mean()
    if is_through_zero:
        A = np.vstack([np.full(n, 1.0 / (n * middle)), np.zeros(n)])
        return float(true.mean() / middle), 0.0, A
    off = x - middle
    slope = off / (off @ off)
    A = np.vstack([slope, np.full(n, 1.0 / n) - slope * middle])
    scale = float(slope @ (true - true.mean()))
    return scale, float(true.mean() - scale * middle), A


def _scatter(residual: Array, method: Method, resolution_mm: float) -> tuple[float, int]:
    """Return standard deviation of one reading, mm, and its degrees of freedom."""
    dof = len(residual) - (1 if method == "one-point" else 2)
    sd = float(np.sqrt((residual**2).sum() / dof)) if dof > 0 else 0.0
    return max(sd, resolution_mm / np.sqrt(12.0)), max(dof, 0)


def _widened(sd: float, dof: int, stated: float) -> float:
    """Standard deviation that covers 95 % at k = 2 though it rests on few readings (Student's t; JCGM 100, G.3).

    Without any freedom the scatter was not seen: that of a reading as stated is taken.
    """
    from scipy.special import stdtrit

    if dof == 0:
        return max(sd, stated)
    return sd * float(stdtrit(dof, 0.975)) / 2.0 if dof < ENOUGH_FREEDOM else sd


def _covariance(A: Array, sd: float, blocks: Blocks) -> Array:
    """Propagate the readings' scatter, and each block's own error, which its repeats share."""
    total, (steps, step) = sd**2 * (A @ A.T), blocks.steps
    for k in range(len(steps)):
        stated = blocks.u[step == k]
        u = float(np.nanmax(stated)) if np.isfinite(stated).any() else BLOCK_U_MM
        share = A[:, step == k].sum(axis=1)
        total += u**2 * np.outer(share, share)
    return np.asarray(total)


def _per_block(x: Array, blocks: Blocks, scale: float, zero: float) -> tuple[BlockResult, ...]:
    results, (steps, step) = [], blocks.steps
    for k, true in enumerate(steps.tolist()):
        read = x[step == k]
        mean, sd = float(read.mean()), float(scale * np.std(read, ddof=1)) if len(read) > 1 else float("nan")
        results.append(BlockResult(true, mean, len(read), true - scale * mean - zero, sd))
    return tuple(results)


def _off_line(blocks: tuple[BlockResult, ...]) -> str:
    far = [one for one in blocks if abs(one.residual) > OFF_LINE_MM]
    if not far:
        return ""
    shown = ", ".join(f"{one.true:.4g} ({one.residual:+.3f})" for one in far[:4])
    return (
        f"{len(far)} blocks are off the line, mm: {shown}. One was read wrongly, or the gauge is not straight. Read "
        "the blocks again."
    )


def _scattered(blocks: tuple[BlockResult, ...]) -> str:
    """Readings of one block that differ as those of no good gauge do: a second set after a drift, say."""
    again = [one for one in blocks if one.count > 1]
    freedom = sum(one.count - 1 for one in again)
    sd = float(np.sqrt(sum((one.count - 1) * one.sd**2 for one in again) / max(freedom, 1)))
    if freedom < FOR_SCATTER or sd <= SCATTER_MM:
        return ""
    return (
        f"readings of one and the same block scatter by {sd:.3f} mm: couplant, a wrong row, or a gauge that drifted "
        "between two sets. Read the blocks again."
    )


def _far(scale: float, kind: Kind) -> str:
    low, high = VELOCITIES if kind == "tof" else SCALES
    if low < scale < high:
        return ""
    if kind == "thickness":
        return (
            f"the scale is {scale:.4f}, about 1 was expected: the gauge is set for another metal than the blocks are "
            "of, or a column is in another unit. Check both, and read the blocks again."
        )
    return (
        f"the velocity is {scale:.4f} mm/µs, aluminium alloys have 6.2 to 6.45. Check the blocks' metal, and that "
        "tof_us is in microseconds, there and back."
    )
