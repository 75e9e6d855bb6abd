"""Cutter-location data once more, for the tests alone: a plain reader, a plain post, and a sweep by brute force.

It shares no code with floorfit. The wording is that of ISO 4343, from memory. The sweep is the definition: a cutter
with a rounded corner is a ring of balls with a disc between, and its lowest place over a point that of many balls.
"""

from __future__ import annotations

import math
import re

import numpy as np

UNIT = {"MM": 1.0, "INCHES": 25.4}
RING = np.linspace(0, 2 * np.pi, 96, endpoint=False)
#: Places whose pairs with tips are made at once. A matter of memory only.
TOGETHER = 250


def statements(text: str) -> list[tuple[str, str]]:
    """Major word and what follows, without comments and sequence numbers."""
    out, held = [], ""
    for line in text.splitlines():
        line = re.sub(r"^\s*\d+\s+", "", line)
        if line.startswith(("PARTNO", "PPRINT", "INSERT")):
            out.append((line.split()[0], line))
            continue
        held += line.split("$")[0]
        if "$" in line and "$$" not in line:
            continue
        major, _, rest = held.partition("/")
        if major.strip():
            out.append((major.strip().upper().replace(" ", ""), rest.strip()))
        held = ""
    return out


def moves(text: str) -> list[dict]:
    """Motions: tip in mm, axis, whether rapid, radius and corner radius."""
    scale, axis, rapid, size, out, at = None, (0.0, 0.0, 1.0), False, (0.0, 0.0), [], (math.nan,) * 3
    for major, rest in statements(text):
        if major == "UNITS":
            scale = UNIT[rest.upper()]
        elif major == "CUTTER":
            numbers = [float(n) * scale for n in rest.split(",")]
            size = (numbers[0] / 2, numbers[1] if len(numbers) > 1 else 0.0)
        elif major == "RAPID":
            rapid = True
        elif major in ("GOTO", "FROM", "GODLTA"):
            numbers = [float(n) for n in rest.split(",")]
            axis = tuple(numbers[3:6]) if len(numbers) == 6 else axis
            place = tuple(n * scale for n in numbers[:3])
            place = tuple(a + b for a, b in zip(at, place, strict=True)) if major == "GODLTA" else place
            if major != "FROM":
                out.append({"from": at, "to": place, "axis": axis, "rapid": rapid, "size": size, "was": None})
                out[-1]["was"] = out[-2]["axis"] if len(out) > 1 else axis
            at, rapid = place, False
    return out


def samples(text: str, step: float = 0.5) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Tips, axes and sizes along every motion with a known start."""
    tips, axes, sizes = [], [], []
    for move in moves(text):
        if math.isnan(move["from"][0]):
            continue
        count = max(1, math.ceil(math.dist(move["from"], move["to"]) / step))
        share = np.linspace(0, 1, count + 1)[:, None]
        tips.append(np.array(move["from"]) + share * (np.array(move["to"]) - np.array(move["from"])))
        axis = np.array(move["was"]) + share * (np.array(move["axis"]) - np.array(move["was"]))
        axes.append(axis / np.linalg.norm(axis, axis=1)[:, None])
        sizes.append(np.tile(move["size"], (count + 1, 1)))
    return np.concatenate(tips), np.concatenate(axes), np.concatenate(sizes)


def swept(text: str, places: np.ndarray, step: float = 0.5) -> np.ndarray:
    """Lowest height of the cutter over places (n, 2), mm; infinite where it never is."""
    return lowest(places, *samples(text, step), slack=0.01)


def lowest(places, tips, axes, sizes, *, slack: float) -> np.ndarray:
    """Lowest height over places (n, 2) of cutters that stand at tips, mm; infinite where none is within its radius."""
    order = np.argsort(tips[:, 0])
    tips, axes, sizes = tips[order], axes[order], sizes[order]
    reach = sizes[:, 0] + slack
    first, last = (np.searchsorted(tips[:, 0], places[:, 0] + side * reach.max()) for side in (-1, 1))
    out = np.full(len(places), np.inf)
    if (axes == (0.0, 0.0, 1.0)).all():
        for start in range(0, len(places), TOGETHER):
            some = slice(start, start + TOGETHER)
            out[some] = _lowest_upright(places[some], first[some], last[some], tips, sizes, slack)
        return out
    for index, place in enumerate(places):
        strip = slice(first[index], last[index])
        near = np.hypot(*(tips[strip, :2] - place).T) <= reach[strip]
        if near.any():
            out[index] = _lowest(place, tips[strip][near], axes[strip][near], sizes[strip][near])
    return out


def _lowest_upright(places, first, last, tips, sizes, slack: float) -> np.ndarray:
    """The same of cutters that stand upright: a disc, and round it a quarter of a circle.

    Each place is paired with each tip of its strip, from ``first`` to ``last``.
    """
    counts = last - first
    of = np.repeat(np.arange(len(places)), counts)
    tip = np.arange(len(of)) + np.repeat(first - np.cumsum(counts) + counts, counts)
    away = np.hypot(tips[tip, 0] - places[of, 0], tips[tip, 1] - places[of, 1])
    near = away <= sizes[tip, 0] + slack
    of, tip, away = of[near], tip[near], away[near]
    radius, corner = sizes[tip].T
    over = np.clip(away - (radius - corner), 0.0, corner)
    out = np.full(len(places), np.inf)
    np.minimum.at(out, of, tips[tip, 2] + corner - np.sqrt(corner**2 - over**2))
    return out


def _lowest(place, tips, axes, sizes) -> float:
    """Lowest height over one place of the cutters at some tips."""
    off = place - tips[:, :2]
    flat, corner = sizes[:, 0] - sizes[:, 1], sizes[:, 1]
    disc = -(axes[:, 0] * off[:, 0] + axes[:, 1] * off[:, 1]) / axes[:, 2]
    inside = off[:, 0] ** 2 + off[:, 1] ** 2 + disc**2 <= (flat + 1e-9) ** 2
    low = np.where(inside, tips[:, 2] + disc, np.inf).min()
    if not corner.any():
        return float(low)
    balls = _balls(_once(axes), _once(flat[:, None]), _once(corner[:, None]))
    under = corner**2 - (off[:, 0] - balls[..., 0]) ** 2 - (off[:, 1] - balls[..., 1]) ** 2
    over = np.nonzero(under >= 0)
    height = (tips[:, 2] + balls[..., 2])[over] - np.sqrt(under[over])
    return float(min(low, height.min(initial=np.inf)))


def _balls(axes, flat, corner) -> np.ndarray:
    """Middles of the balls of each ring as seen from its tip, (angles, tips, 3); those of a ball end are one."""
    x, y, z = axes.T
    side = np.stack([0.1 * y - 0.9 * z, 0.3 * z - 0.1 * x, 0.9 * x - 0.3 * y], axis=1)  # across, anywhere
    side /= np.linalg.norm(side, axis=1)[:, None]
    u, v, w = side.T
    other = np.stack([y * w - z * v, z * u - x * w, x * v - y * u], axis=1)
    turn = RING[: None if flat.any() else 1, None, None]
    return corner * axes + flat * (np.cos(turn) * side + np.sin(turn) * other)


def _once(rows) -> np.ndarray:
    """One row where all are alike."""
    return rows[:1] if (rows == rows[0]).all() else rows


def post(text: str) -> str:
    """Three axes, no tricks: word-address blocks (RS274/NGC) for points, feeds and tools."""
    out, rapid, feed = ["%", "O1", "G90 G17 G40 G94 G54"], False, ""
    scale, axis = None, None
    for major, rest in statements(text):
        if major == "UNITS":
            scale = UNIT[rest.upper()]
            out.append("G21" if scale == 1.0 else "G20")
        elif major == "LOADTL":
            out.append(f"T{rest} M6")
        elif major == "FEDRAT":
            feed = f" F{rest.split(',')[0]}"
        elif major == "RAPID":
            rapid = True
        elif major in ("GOTO", "FROM"):
            numbers = rest.split(",")
            axis = numbers[3:] or axis
            assert axis in (None, ["0", "0", "1"]), "three axes"
            word = "G0" if rapid or major == "FROM" else "G1"
            out.append(f"{word} X{numbers[0]} Y{numbers[1]} Z{numbers[2]}{'' if word == 'G0' else feed}")
            rapid = False
    return "\n".join([*out, "M30", "%", ""])
