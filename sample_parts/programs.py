"""Write the finishing programme of each sample part: ``python sample_parts/programs.py``.

Invented, like the parts: zigzag passes over each floor, then a pass round its walls, in the unit of the part file. The
tool point is the tip of a flat end mill; the axis stays upright. Lofted floors are cut in chords by a ball end. Part
zero is the programme's zero (G54). The same part gives the same bytes.

``finish.cl`` is the same as cutter-location data, before a post-processor has seen it: tool, cutter and tip in the
part's frame, with the axis for the part in mm and without it for the part in inches.

``finish_tilted.nc``, for the first part, goes round the walls with the tool tilted: X, Y, Z are then the tip in the
part's frame (``--tip-control``; G43.4 in many dialects). Comments give the cutters: ``--tool-comment "(T{T} D={D}"``.
"""

from __future__ import annotations

import sys
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from lofted import leans
from shapely import LineString, Polygon

from floorfit.part.model import Part, Pocket
from floorfit.part.part_file import read_part
from floorfit.units import MM_PER_UNIT

HERE = Path(__file__).resolve().parent
#: Height over the highest floor at which the tool crosses the part, and at which a ramp begins, mm.
CLEAR_MM, RAMP_MM = 60.0, 1.0
#: Feed along a floor and down a ramp, mm/min. Invented.
FEED_MM, RAMP_FEED_MM = 2400.0, 600.0
#: Side of a pass as a share of the tool's diameter.
STEP = 0.6
#: Distance of passes over lofted floors and greatest length of their chords, mm: a ball of 8 mm leaves crests of 0.1
#: mm, more than a shop would, so that the file stays small; a bend of 4.4e-4 / mm leaves a chord of 8 mm by 0.0035.
LOFTED_STEP_MM, CHORD_MM = 2.5, 8.0
#: Height of the ribs over a floor that leans in, mm.
RIB_MM = 40.0
#: Tilt of the tool in the tilted programme, degrees.
TILT_DEG = 3.0


class Program:
    """Blocks in the part's unit, with words left out where they repeat."""

    def __init__(self, part: Part, tilt: float | None = None) -> None:
        self.unit = MM_PER_UNIT[part.units]
        self.decimals = 3 if part.units == "mm" else 4
        self.clear = max(pocket.floor_z for pocket in part.pockets) + CLEAR_MM
        self.last: dict[str, str] = {}
        name = "".join(char if char.isascii() and char not in "()" else " " for char in part.name)
        self.lines = ["%", "O1001", f"(FINISH FLOORS OF {name.upper()} - INVENTED, NOT FOR CUTTING)"]
        self.lines += ["G21" if part.units == "mm" else "G20", "G90 G17 G40 G94 G54"]
        self.tools: dict[tuple[float, float], int] = {}
        self.loaded = 0
        self.length = "G43" if tilt is None else "G43.4"

    def number(self, mm: float) -> str:
        """A length with the decimals of the unit."""
        text = f"{mm / self.unit:.{self.decimals}f}"
        return text[1:] if float(text) == 0 and text.startswith("-") else text

    def block(self, code: str, feed: float | None = None, **axes: float) -> None:
        """Write a motion, leaving out what is in force."""
        words = {"G": code}
        words |= {axis: self.number(mm) if axis in "XYZ" else f"{mm:.3f}" for axis, mm in axes.items()}
        if feed is not None:
            words["F"] = f"{feed / self.unit:.1f}"
        new = {letter: text for letter, text in words.items() if self.last.get(letter) != text}
        self.last |= words
        if set(new) - {"G", "F"}:
            self.lines.append(" ".join(letter + text for letter, text in new.items()))

    def tool(self, radius: float, corner: float) -> None:
        """Load the tool of a radius and corner radius, where it is not in the spindle."""
        number = self.tools.setdefault((radius, corner), len(self.tools) + 1)
        if number != self.loaded:
            self.lines += [f"T{number} M6 (T{number} D={2 * radius:.3f} CR={corner:.3f} MM)", "S12000 M3"]
            self.lines.append(f"G0 {self.length} H{number} Z{self.number(self.clear)}")
            self.last |= {"G": "0", "Z": self.number(self.clear)}
            self.loaded = number

    def heading(self, pocket: Pocket, radius: float, corner: float) -> None:
        """Name the floor that follows."""
        self.lines.append(f"(POCKET {pocket.id.upper()})")
        self.tool(radius, corner)

    def text(self) -> str:
        """The whole programme."""
        return "\n".join([*self.lines, "M5", "G91 G28 Z0", "G90", "M30", "%", ""])


class LocationProgram:
    """The same motions as statements of cutter-location data, in the wording of ISO 4343."""

    def __init__(self, part: Part) -> None:
        self.unit = MM_PER_UNIT[part.units]
        self.decimals = 3 if part.units == "mm" else 4
        self.clear = max(pocket.floor_z for pocket in part.pockets) + CLEAR_MM
        self.place = {"X": 0.0, "Y": 0.0, "Z": self.clear}
        self.feed: float | None = None
        self.tools: dict[tuple[float, float], int] = {}
        self.lines = [f"PARTNO FINISH FLOORS OF {part.name.upper()}", "$$ INVENTED, NOT FOR CUTTING"]
        self.axis = ",0,0,1" if part.units == "mm" else ""
        self.lines += ["UNITS/MM", "MULTAX/ON"] if self.axis else ["UNITS/INCHES"]
        self.lines += [f"FROM/{self.numbers()}", "SPINDL/12000,CLW"]

    number = Program.number

    def numbers(self) -> str:
        """Tip and axis, the axis upright."""
        return ",".join(self.number(mm) for mm in self.place.values()) + self.axis

    def tool(self, radius: float, corner: float) -> None:
        """Load the tool of a radius and corner radius, where it is not in the spindle."""
        number = self.tools.setdefault((radius, corner), len(self.tools) + 1)
        if f"LOADTL/{number}" != next((line for line in reversed(self.lines) if line.startswith("LOADTL")), ""):
            self.lines += [f"LOADTL/{number}", f"CUTTER/{self.number(2 * radius)},{corner:g}"]

    def block(self, code: str, feed: float | None = None, **axes: float) -> None:
        """Write a motion; a feed where it changes."""
        before = self.numbers()
        self.place |= axes
        if self.numbers() == before:
            return
        if code == "0":
            self.lines.append("RAPID")
        elif feed != self.feed and feed is not None:
            self.lines.append(f"FEDRAT/{feed / self.unit:.1f},{'MMPM' if self.unit == 1.0 else 'IPM'}")
            self.feed = feed
        self.lines.append(f"GOTO/{self.numbers()}")

    def heading(self, pocket: Pocket, radius: float, corner: float) -> None:
        """Name the floor that follows."""
        self.lines.append(f"PPRINT POCKET {pocket.id.upper()}")
        self.tool(radius, corner)

    def text(self) -> str:
        """The whole file."""
        return "\n".join([*self.lines, "SPINDL/OFF", "END", "FINI", ""])


def tool_radius(pocket: Pocket) -> float:
    """Largest of a few radii that fits the pocket's corners and leaves room to move, mm."""
    wanted = [10.0, 8.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0, 0.5]
    corner = pocket.corner_radius or 8.0
    fits = (radius for radius in wanted if radius <= corner and not pocket.polygon.buffer(-1.5 * radius).is_empty)
    return next(fits, 0.25)


def passes(area: Polygon, step: float) -> list[np.ndarray]:
    """Straight passes over an area, along its longer side, every other one backwards."""
    x0, y0, x1, y1 = area.bounds
    along_x = x1 - x0 >= y1 - y0
    low, high = (y0, y1) if along_x else (x0, x1)
    out: list[np.ndarray] = []
    for index, at in enumerate(np.linspace(low, high, max(2, int(np.ceil((high - low) / step)) + 1))):
        line = LineString([(x0, at), (x1, at)] if along_x else [(at, y0), (at, y1)])
        pieces = area.buffer(1e-6).intersection(line)
        lines = [part for part in getattr(pieces, "geoms", [pieces]) if part.length > 0.01]
        ends = [np.array(part.coords)[[0, -1]] for part in lines]
        out += [end[::-1] for end in ends[::-1]] if index % 2 else ends
    return out


def corner_of(pocket: Pocket) -> float:
    """Corner radius of the tool for a floor, mm: a ball for one that follows a loft, else a flat end."""
    return 0.0 if pocket.is_plain else tool_radius(pocket)


def over_floor(pocket: Pocket, points: np.ndarray, tilt: float | None = None) -> np.ndarray:
    """Tips at places in plan where the end stands on the floor, mm, (k, 3); the axis may be turned about X, degrees.

    On a plane the rim of a flat end touches: the tip is higher by the radius times the sine of the angle between axis
    and normal, along the normal. On a lofted floor the tip is as high as the highest of many places all over the ball
    asks.
    """
    x, y = points.T
    if pocket.is_plain:
        normal = np.array([-pocket.slope[0], -pocket.slope[1], 1.0]) / np.hypot(1.0, np.hypot(*pocket.slope))
        turn = np.radians(tilt or 0.0)
        along = float(normal @ [0.0, -np.sin(turn), np.cos(turn)])
        stands = tool_radius(pocket) * np.sqrt(max(1.0 - along**2, 0.0)) / normal[2]
        return np.column_stack([points, [float(pocket.nominal_z(*point)) + stands for point in points]])
    out, up = ball_places(tool_radius(pocket))
    z = pocket.floor_at(x[:, None] + out[:, 0], y[:, None] + out[:, 1]) - up
    return np.column_stack([points, z.max(axis=1)])


@cache
def ball_places(radius: float) -> tuple[np.ndarray, np.ndarray]:
    """Places of a ball up to 10 degrees from its tip: from its axis and over the tip, mm."""
    rings = np.radians(np.linspace(0.0, 10.0, 21))
    turn = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    around = np.column_stack([np.cos(turn), np.sin(turn)])
    out = np.concatenate([radius * np.sin(angle) * around for angle in rings])
    return out, np.repeat(radius * (1 - np.cos(rings)), len(turn))


def chords(pocket: Pocket, points: np.ndarray) -> np.ndarray:
    """The same way with points so near on a curved floor that chords stay on it."""
    if pocket.is_plain:
        return points
    pieces = [points[:1]]
    for first, last in pairwise(points):
        count = max(1, int(np.ceil(np.hypot(*(last - first)) / CHORD_MM)))
        pieces.append(first + np.arange(1, count + 1)[:, None] / count * (last - first))
    return np.concatenate(pieces)


def cut(program: Program | LocationProgram, pocket: Pocket, points: np.ndarray, tilt: float | None) -> None:
    """Go along points on the floor."""
    more = {} if tilt is None else {"A": tilt}
    for x, y, z in over_floor(pocket, chords(pocket, points), tilt):
        program.block("1", FEED_MM, X=x, Y=y, Z=z, **more)


def enter(program: Program | LocationProgram, pocket: Pocket, points: np.ndarray) -> None:
    """Come down over the first point and ramp to the floor along the first pass, then back."""
    points = chords(pocket, points)
    (x0, y0, z0), (x1, y1, z1) = over_floor(pocket, points[:2])
    program.block("0", Z=program.clear)
    program.block("0", X=x0, Y=y0)
    program.block("0", Z=z0 + pocket.finish_stock + 2 * RAMP_MM)
    program.block("1", RAMP_FEED_MM, Z=z0 + pocket.finish_stock + RAMP_MM)
    program.block("1", RAMP_FEED_MM, X=x1, Y=y1, Z=z1)
    program.block("1", FEED_MM, X=x0, Y=y0, Z=z0)


def finish(program: Program | LocationProgram, pocket: Pocket, tilt: float | None) -> None:
    """All passes of one floor."""
    radius = tool_radius(pocket)
    # A wall that leans in is left to a tool that reaches under it.
    room = pocket.polygon.buffer(-radius if pocket.is_plain else -radius - RIB_MM * leans(pocket))
    program.heading(pocket, radius, corner_of(pocket))
    for area in getattr(room, "geoms", [room]):
        ready = area.buffer(1e-3)
        place: np.ndarray | None = None
        for line in passes(area, 2 * radius * STEP if pocket.is_plain else LOFTED_STEP_MM):
            if place is None or not ready.covers(LineString([place, line[0]])):
                enter(program, pocket, line)
                place = line[0]
            cut(program, pocket, line if pocket.is_plain else np.array([place, *line]), None)
            place = line[1]
        for ring in (area.exterior, *area.interiors):
            around = np.array(ring.coords)
            if place is None or not ready.covers(LineString([place, around[0]])):
                enter(program, pocket, around)
                place = around[0]
            cut(program, pocket, around if pocket.is_plain else np.array([place, *around]), tilt)
            place = around[-1]
    program.block("0", Z=program.clear)
    if tilt is not None:
        program.block("0", A=0.0)


def write_program(part: Part, path: Path, tilt: float | None = None) -> None:
    """Write the finishing programme of a part; as cutter-location data where the file's name ends in ``.cl``."""
    program = LocationProgram(part) if path.suffix == ".cl" else Program(part, tilt)
    for pocket in part.pockets:
        finish(program, pocket, tilt)
    path.write_text(program.text(), encoding="ascii", newline="\n")


def main() -> None:
    """Write all of them."""
    for index, file in enumerate(sorted(HERE.glob("*/part.json"))):
        part = read_part(file)
        write_program(part, file.with_name("finish.nc"))
        write_program(part, file.with_name("finish.cl"))
        if index == 0:
            write_program(part, file.with_name("finish_tilted.nc"), TILT_DEG)


if __name__ == "__main__":
    main()
