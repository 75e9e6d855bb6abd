"""A second reader of RS274/NGC programmes, written for the tests alone: slow, plain, and sharing no code with floorfit.

It follows NISTIR 6556 (The NIST RS274/NGC Interpreter, version 3): 3.3 for the line, 3.4 for modal groups, 3.5.1 to
3.5.3 for G0 to G3, 3.5.16 for cycles, 3.8 for the order of action. Anything outside that raises.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

INCH = 25.4


@dataclass
class Move:
    """One motion; lengths in mm."""

    kind: str
    start: tuple[float, ...]
    end: tuple[float, ...]
    feed: float
    tool: float
    centre: tuple[float, float] | None = None
    sweep: float = 0.0

    def at(self, share: float) -> tuple[float, float, float]:
        """Point at a share of the motion."""
        z = self.start[2] + share * (self.end[2] - self.start[2])
        if self.centre is None:
            return (*(a + share * (b - a) for a, b in zip(self.start[:2], self.end[:2], strict=True)), z)
        cx, cy = self.centre
        radius = math.dist(self.start[:2], self.centre)
        angle = math.atan2(self.start[1] - cy, self.start[0] - cx) + share * self.sweep
        return cx + radius * math.cos(angle), cy + radius * math.sin(angle), z

    @property
    def length(self) -> float:
        """Length in plan."""
        if self.centre is None:
            return math.dist(self.start[:2], self.end[:2])
        return abs(self.sweep) * math.dist(self.start[:2], self.centre)


def words_of(line: str) -> list[tuple[str, float]]:
    """Words of a block (3.3): comments out, blanks out, letters in either case."""
    line = re.sub(r"\([^()]*\)", "", line).split(";")[0]
    line = re.sub(r"\s", "", line).upper()
    if line.startswith("%") or re.fullmatch(r"O\d+", line):
        return []
    line = line.removeprefix("/")
    found = re.findall(r"([A-Z])([-+]?(?:\d+\.?\d*|\.\d+))", line)
    assert "".join(a + b for a, b in found) == line, line
    return [(letter, float(number)) for letter, number in found]


def run(text: str) -> list[Move]:
    """Run a programme and return its motions; reference point and machine moves make a position unknown (NaN)."""
    nan = math.nan
    pos = dict.fromkeys("XYZ", nan) | dict.fromkeys("ABC", 0.0)
    modal = {"motion": None, "absolute": None, "scale": None, "arc": False, "level": 98}
    feed, tool, selected, moves = nan, -1.0, -1.0, []
    sticky: dict[str, float] = {}
    for line in text.splitlines():
        words = words_of(line)
        codes = [round(value * 10) for letter, value in words if letter == "G"]
        value = {letter: number for letter, number in words if letter not in "GMN"}
        feed, selected = value.get("F", feed), value.get("T", selected)
        tool = selected if ("M", 6.0) in words else tool
        for code in codes:
            if code in (200, 210):
                modal["scale"] = INCH if code == 200 else 1.0
            elif code in (900, 910):
                modal["absolute"] = code == 900
            elif code in (901, 911):
                modal["arc"] = code == 901
            elif code in (0, 10, 20, 30, 800) or 810 <= code <= 890:
                modal["motion"] = code
            elif code in (980, 990):
                modal["level"] = code // 10
        if 40 in codes:
            continue
        if {280, 530} & set(codes):
            pos.update(dict.fromkeys([axis for axis in "XYZ" if axis in value], nan))
            continue
        if any(axis in value for axis in "XYZABC") or (modal["motion"] in (20, 30) and {"I", "J"} & set(value)):
            moves.append(_move(value, pos, modal, feed, tool, sticky))
        if ("M", 30.0) in words or ("M", 2.0) in words:
            break
    return moves


def _move(value, pos, modal, feed, tool, sticky):
    scale = modal["scale"]
    start = tuple(pos[axis] for axis in "XYZABC")
    if modal["motion"] >= 810:
        assert modal["absolute"]
        sticky.update({letter: value[letter] * scale for letter in "ZR" if letter in value})
        pos.update({axis: value[axis] * scale for axis in "XY" if axis in value})
        pos["Z"] = max(start[2], sticky["R"]) if modal["level"] == 98 else sticky["R"]
        return Move("cycle", start, tuple(pos[axis] for axis in "XYZABC"), feed, tool)
    for axis in "XYZABC":
        if axis in value:
            number = value[axis] * (scale if axis in "XYZ" else 1.0)
            pos[axis] = number if modal["absolute"] else pos[axis] + number
    end = tuple(pos[axis] for axis in "XYZABC")
    kind = {0: "rapid", 10: "line", 20: "cw", 30: "ccw"}[modal["motion"]]
    if kind in ("rapid", "line"):
        return Move(kind, start, end, feed, tool)
    centre = _centre(value, start, end, modal, scale)
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    last = math.atan2(end[1] - centre[1], end[0] - centre[0])
    turn = (last - first) % (2 * math.pi) if kind == "ccw" else -((first - last) % (2 * math.pi))
    if math.dist(start[:2], end[:2]) < 1e-9:
        turn = 2 * math.pi if kind == "ccw" else -2 * math.pi
    # NISTIR 6556, 3.5.3.2: the radii at start and end differ by less than 0.002 mm (0.0002 in).
    assert abs(math.dist(start[:2], centre) - math.dist(end[:2], centre)) < 0.0051
    return Move(kind, start, end, feed, tool, centre, turn)


def _centre(value, start, end, modal, scale):
    if "R" not in value:
        i, j = value.get("I", 0.0) * scale, value.get("J", 0.0) * scale
        return (i, j) if modal["arc"] else (start[0] + i, start[1] + j)
    radius = value["R"] * scale
    dx, dy = end[0] - start[0], end[1] - start[1]
    chord = math.hypot(dx, dy)
    height = math.sqrt(max(radius**2 - chord**2 / 4, 0.0))
    # Left of the chord for anticlockwise arcs up to half a turn, right for clockwise; the other way for R < 0.
    side = (1 if modal["motion"] == 30 else -1) * (1 if radius > 0 else -1)
    return start[0] + dx / 2 - side * height * dy / chord, start[1] + dy / 2 + side * height * dx / chord


@dataclass
class Pair:
    """A motion of the original with the motions of the result that take its place."""

    old: Move
    new: list[Move]

    def added(self, share: float) -> float:
        """Change of Z at a share of the way."""
        total = sum(move.length for move in self.new)
        if total < 1e-9:
            z = self.new[0].start[2] + share * (self.new[-1].end[2] - self.new[0].start[2])
            return z - self.old.at(share)[2]
        way = share * total
        for move in self.new:
            if way <= move.length or move is self.new[-1]:
                part = min(way / move.length, 1.0) if move.length else 1.0
                return move.at(part)[2] - self.old.at(share)[2]
            way -= move.length
        raise AssertionError


def paired(before: str, after: str) -> list[Pair]:
    """Pair the motions of two programmes; assert the same kinds, feeds, tools, X, Y, A, B and C."""
    new, place, out = run(after), 0, []
    for old in run(before):
        group: list[Move] = []
        while True:
            move = new[place]
            place += 1
            group.append(move)
            assert (move.kind, move.tool) == (old.kind, old.tool)
            assert move.feed == old.feed or math.isnan(old.feed)
            same = [a == b or abs(a - b) < 1e-6 or a != a for a, b in zip(old.end, move.end, strict=True)]
            if same[0] and same[1] and all(same[3:]) and abs(_known(group) - _known([old])) < 0.1:
                break
            share = sum(m.length for m in group) / old.length
            on_path = old.at(min(share, 1.0))
            assert math.dist(on_path[:2], move.end[:2]) < 0.02, (on_path, move)
        out.append(Pair(old, group))
    assert place == len(new)
    return out


def _known(moves: list[Move]) -> float:
    return sum(0.0 if math.isnan(move.length) else move.length for move in moves)
