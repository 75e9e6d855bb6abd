"""What word-address programmes cut, for the tests alone: a plain interpreter with tools, and a sweep by brute force.

It shares no code with floorfit. It reads what NISTIR 6556 has, and of the dialects what the cases need: G69, G15, G50,
G50.1 and G8 (nothing turns here), G43.4 and G43.5 I J K. A block of one of these with X, Y or Z moves the tool in the
motion mode in force: the worst a control may do.
"""

from __future__ import annotations

import math
import re

import numpy as np
from cl_reference import lowest

WORD = re.compile(r"([A-Z])([-+]?(?:\d+\.?\d*|\.\d+))")


def motions(text: str) -> list[dict]:
    """Motions with start, end (mm), axes, kind, centre, sweep and tool."""
    at = dict.fromkeys("XYZ", math.nan) | {"A": 0.0, "B": 0.0}
    scale, absolute, mode, tool, picked, vector, vectors = 1.0, True, 0, -1, -1, (0.0, 0.0, 1.0), False
    out: list[dict] = []
    plane = "XY"
    for line in text.splitlines():
        line = re.sub(r"\([^)]*\)|;.*|\s", "", line).upper()
        if line.startswith(("%", "O")):
            continue
        words = WORD.findall(line)
        codes = {round(10 * float(n)) for letter, n in words if letter == "G"}
        value = {letter: float(n) for letter, n in words if letter not in "GM"}
        scale = 25.4 if 200 in codes else 1.0 if 210 in codes else scale
        absolute = True if 900 in codes else False if 910 in codes else absolute
        mode = next((code // 10 for code in (0, 10, 20, 30) if code in codes), mode)
        plane = next((name for code, name in ((170, "XY"), (180, "ZX"), (190, "YZ")) if code in codes), plane)
        vectors = True if 435 in codes else False if codes & {430, 434, 490} else vectors
        picked = int(value.get("T", picked))
        tool = picked if ("M", "6") in words else tool
        if 40 in codes:
            continue
        if codes & {280, 300, 530}:
            at.update({axis: math.nan for axis in "XYZ" if axis in value})
            continue
        turned = vectors and mode < 2 and set("IJK") & set(value)
        if not set("XYZAB") & set(value) and not turned and not (mode > 1 and set("IJKR") & set(value)):
            continue
        start, before = dict(at), _axis(at, vector)
        for axis in "XYZAB":
            if axis in value:
                number = value[axis] * (scale if axis in "XYZ" else 1.0)
                at[axis] = number if absolute else at[axis] + number
        if turned:
            vector = tuple(value.get(letter, 0.0) for letter in "IJK")
        move = {
            "from": tuple(start[axis] for axis in "XYZ"),
            "to": tuple(at[axis] for axis in "XYZ"),
            "was": before,
            "axis": _axis(at, vector),
            "kind": mode,
            "tool": tool if tool >= 0 else picked,
        }
        if mode > 1:
            move |= _arc(move, value, scale, plane)
        out.append(move)
    return out


def _axis(at: dict, vector: tuple) -> tuple[float, float, float]:
    a, b = math.radians(at["A"]), math.radians(at["B"])
    if a or b:
        return math.sin(b) * math.cos(a), -math.sin(a), math.cos(a) * math.cos(b)
    return tuple(part / math.sqrt(sum(p * p for p in vector)) for part in vector)


def _arc(move: dict, value: dict, scale: float, plane: str) -> dict:
    """Centre, signed angle and the two axes of an arc; NISTIR 6556, 3.5.3: G18 is the ZX plane, G19 the YZ plane."""
    first, second = ("XYZ".index(axis) for axis in plane)
    x0, y0, x1, y1 = (move[end][axis] for end in ("from", "to") for axis in (first, second))
    if "R" in value:
        r = value["R"] * scale
        d = math.dist((x0, y0), (x1, y1))
        h = math.sqrt(max(r * r - d * d / 4, 0.0)) * (1 if (move["kind"] == 3) == (r > 0) else -1)
        cx, cy = (x0 + x1) / 2 - h * (y1 - y0) / d, (y0 + y1) / 2 + h * (x1 - x0) / d
    else:
        cx, cy = x0 + value.get("IJK"[first], 0.0) * scale, y0 + value.get("IJK"[second], 0.0) * scale
    turn = math.atan2(y1 - cy, x1 - cx) - math.atan2(y0 - cy, x0 - cx)
    turn = turn % (2 * math.pi) or 2 * math.pi
    turn = turn if move["kind"] == 3 else (turn - 2 * math.pi) or -2 * math.pi
    return {"centre": (cx, cy), "turn": turn, "plane": [first, second]}


def samples(text: str, tools: dict[int, tuple[float, float]], step: float = 0.4):
    """Tips, axes and sizes (radius, corner) along every motion, rapids too."""
    tips, axes, sizes = [], [], []
    for move in motions(text):
        if any(math.isnan(v) for v in (*move["from"], *move["to"])):
            continue
        start, end = np.array(move["from"]), np.array(move["to"])
        length = math.dist(start, end)
        if "centre" in move:
            across = 3 - sum(move["plane"])
            radius = math.dist(start[move["plane"]], move["centre"])
            length = math.hypot(abs(move["turn"]) * radius, end[across] - start[across])
        share = np.linspace(0, 1, max(1, math.ceil(length / step)) + 1)[:, None]
        tip = start + share * (end - start)
        if "centre" in move:
            cx, cy = move["centre"]
            spoke = start[move["plane"]] - move["centre"]
            angle = math.atan2(spoke[1], spoke[0]) + share[:, 0] * move["turn"]
            tip[:, move["plane"]] = np.column_stack([cx + radius * np.cos(angle), cy + radius * np.sin(angle)])
        axis = np.array(move["was"]) + share * (np.array(move["axis"]) - np.array(move["was"]))
        tips.append(tip)
        axes.append(axis / np.linalg.norm(axis, axis=1)[:, None])
        sizes.append(np.tile(tools[move["tool"]], (len(tip), 1)))
    return np.concatenate(tips), np.concatenate(axes), np.concatenate(sizes)


def swept(text: str, places: np.ndarray, tools: dict[int, tuple[float, float]], step: float = 0.4) -> np.ndarray:
    """Lowest height of any cutter over places (n, 2), mm; infinite where none ever is."""
    return lowest(places, *samples(text, tools, step), slack=1e-6)


def too_deep(before: str, after: str, given, part, tools, *, inset=0.3, count=None, seed=3) -> float:
    """Greatest depth below what the decision wants on any floor of a part, mm.

    Where the original cuts a floor (to 0.05 mm over it or lower), it wants that height and the offset; elsewhere that
    nothing goes lower than the corrected floor, or than the original went.
    """
    # The sweep of a rounded corner costs a hundred times that of a flat end.
    count = count or (250 if not any(0 < corner < radius for radius, corner in tools.values()) else 60)
    rng, worst = np.random.default_rng(seed), -np.inf
    import shapely

    was, now = samples(before, tools), samples(after, tools)
    for pocket in part.pockets:
        polygon = pocket.polygon.buffer(-inset)
        x0, y0, x1, y1 = polygon.bounds
        spots = np.column_stack([rng.uniform(x0, x1, 3 * count), rng.uniform(y0, y1, 3 * count)])
        spots = spots[shapely.contains_xy(polygon, *spots.T)][:count]
        old, new = (lowest(spots, *one, slack=1e-6) for one in (was, now))
        nominal, dz = pocket.floor_at(*spots.T), given[pocket.id].at(*spots.T)
        if given[pocket.id].action == "hold":
            wanted = old
        else:
            cut = old <= nominal + 0.05
            wanted = np.where(cut, np.minimum(nominal, old) + dz, np.minimum(nominal + dz, old))
        known = np.isfinite(new)
        if known.any():
            worst = max(worst, float((np.where(known, wanted, 0.0) - np.where(known, new, 0.0))[known].max()))
    return worst
