"""Random finishing programmes in the supported grammar, and random offsets, for the property tests."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from hypothesis import strategies as st
from nc_cases import PART, corrections, follow, shift, tilt


@dataclass
class Writer:
    """Writes blocks in one style, leaving out words that repeat."""

    inch: bool
    incremental: bool
    lower: bool
    numbers: bool
    comments: str
    gap: str
    lines: list[str] = field(default_factory=list)
    position: dict[str, float] = field(default_factory=dict)
    motion: str = ""

    def value(self, mm: float) -> float:
        return round(mm / 25.4, 4) if self.inch else round(mm, 3)

    def number(self, value: float) -> str:
        text = f"{value:.4f}" if self.inch else f"{value:.3f}"
        return text.rstrip("0") if len(self.lines) % 3 else text

    def block(self, *words: str) -> None:
        text = self.gap.join(words)
        text = f"N{len(self.lines) * 10}{self.gap}{text}" if self.numbers else text
        text = text.lower() if self.lower else text
        if self.comments and len(self.lines) % 4 == 1:
            text += f" {self.comments[0]}Z1.5 looks like a word{self.comments[1:]}"
        self.lines.append(text)

    def move(self, code: str, x=None, y=None, z=None, extra=(), feed="") -> None:
        """Move to a place given in mm."""
        words = [] if code == self.motion and not extra else [code]
        bare = len(words)
        for letter, mm in (("X", x), ("Y", y), ("Z", z)):
            if mm is None:
                continue
            value = self.value(mm)
            known = self.position.get(letter)
            if known == value and not extra:
                continue
            written = round(value - known, 4) if self.incremental and known is not None else value
            self.position[letter] = value
            words.append(letter + self.number(written))
        if len(words) > bare or extra:
            self.motion = code
            self.block(*words, *extra, *([feed] if feed else []))

    def arc(self, code: str, centre: tuple[float, float], turn: float, *, by_radius: bool) -> None:
        """An arc from where the tool is, given its centre in mm; the centre is rounded first, then the end."""
        x0, y0 = self.position["X"], self.position["Y"]
        i, j = self.value(centre[0]) - x0, self.value(centre[1]) - y0
        radius = math.hypot(i, j)
        angle = math.atan2(-j, -i) + (turn if code == "G3" else -turn)
        end = (round(x0 + i + radius * math.cos(angle), 4), round(y0 + j + radius * math.sin(angle), 4))
        unit = 25.4 if self.inch else 1.0
        words = (f"R{radius if turn < math.pi else -radius:.5f}",) if by_radius else (f"I{i:.4f}", f"J{j:.4f}")
        self.motion = ""
        self.move(code, end[0] * unit, end[1] * unit, extra=words)


FLOORS = {floor.id: floor.polygon.bounds for floor in PART.pockets}


def inside(draw, name: str, room: float = 3.0) -> tuple[float, float]:
    x0, y0, x1, y1 = FLOORS[name]
    x = draw(st.floats(x0 + room, x1 - room))
    y = draw(st.floats(y0 + room, y1 - room))
    return round(x, 2), round(y, 2)


@st.composite
def programs(draw) -> str:
    """A whole programme."""
    writer = Writer(
        inch=draw(st.booleans()),
        incremental=draw(st.booleans()),
        lower=draw(st.booleans()),
        numbers=draw(st.booleans()),
        comments=draw(st.sampled_from(["", "()", ";"])),
        gap=draw(st.sampled_from(["", " ", "  "])),
    )
    writer.block("G20" if writer.inch else "G21", "G17", "G90", "G94", "G40")
    writer.block("T1", "M6")
    writer.move("G0", 10.0, 10.0, 30.0)
    writer.block("G91" if writer.incremental else "G90")
    for _ in range(draw(st.integers(1, 3))):
        visit(draw, writer)
    writer.block("M30")
    end = draw(st.sampled_from(["\n", "\r\n"]))
    head = draw(st.sampled_from([[], ["%"], ["%", "O1234"]]))
    return end.join([*head, *writer.lines, *(["%"] if head else []), ""])


def visit(draw, writer: Writer) -> None:
    """Go down to a floor, move about, and come up."""
    name = draw(st.sampled_from(["A", "B", "C"]))
    z = PART.pocket(name).floor_z
    x, y = inside(draw, name)
    writer.move("G0", x, y)
    writer.move("G0", z=z + 3)
    if draw(st.booleans()):
        writer.move("G1", z=z + 0.5, feed="F300.")
        writer.move("G1", *inside(draw, name))
        writer.move("G1", x, y)
    entry = draw(st.sampled_from(["plunge", "ramp"]))
    target = (None, None) if entry == "plunge" else inside(draw, name)
    writer.move("G1", *target, z=z, feed="F200.")
    for _ in range(draw(st.integers(1, 6))):
        name = step(draw, writer, name, z)
    writer.move(draw(st.sampled_from(["G0", "G1"])), z=30.0)


def step(draw, writer: Writer, name: str, z: float) -> str:
    """One thing to do on a floor; the floor it ends on."""
    kind = draw(st.sampled_from(["line", "line", "arc", "circle", "hop", "neighbour", "outside"]))
    if kind == "line":
        writer.move("G1", *inside(draw, name))
    elif kind in ("arc", "circle"):
        bend(draw, writer, name, full=kind == "circle")
    elif kind == "hop":
        writer.move("G1", z=z + 1)
        writer.move("G1", *inside(draw, name))
        writer.move("G1", z=z)
    elif kind == "neighbour" and name in "AB":
        name = "B" if name == "A" else "A"
        writer.move("G1", *inside(draw, name))
    elif kind == "outside":
        x, y = inside(draw, name)
        writer.move("G1", x, -15.0 if name != "C" else 145.0)
        writer.move("G1", x, y)
    return name


def bend(draw, writer: Writer, name: str, *, full: bool) -> None:
    """An arc, in the pocket with room to spare or over its edge; by radius, R is negative over half a turn."""
    unit = 25.4 if writer.inch else 1.0
    x, y = writer.position["X"] * unit, writer.position["Y"] * unit
    x0, y0, x1, y1 = FLOORS[name]
    angle = draw(st.floats(0, 2 * math.pi))
    radius = draw(st.floats(1.0, 14.0))
    cx, cy = x + radius * math.cos(angle), y + radius * math.sin(angle)
    inside = x0 + 1 < cx - radius and cx + radius < x1 - 1 and y0 + 1 < cy - radius and cy + radius < y1 - 1
    # Over the outer edge of the part, never through the metal between the floors.
    clear_x = cx + radius < x1 - 1 if x0 == 0 else cx - radius > x0 + 1
    clear_y = cy + radius < y1 - 1 if y0 == 0 else cy - radius > y0 + 1
    if not inside and not (clear_x and clear_y and draw(st.booleans())):
        return
    code = draw(st.sampled_from(["G2", "G3"]))
    turn = 2 * math.pi if full else draw(st.floats(0.3, 5.5))
    by_radius = not full and abs(turn - math.pi) > 0.3 and draw(st.booleans())
    writer.arc(code, (cx, cy), turn, by_radius=by_radius)


@st.composite
def offsets(draw):
    """A correction for every pocket of the part."""
    dz = st.floats(-0.3, 0.3).map(lambda value: round(value, 4)).filter(lambda value: value == 0 or abs(value) >= 0.001)
    slope = st.floats(-0.001, 0.001)
    given = {}
    for name in ("A", "B", "C", "D"):
        kind = draw(st.sampled_from(["shift", "shift", "tilt", "follow"]))
        if kind == "tilt":
            given[name] = tilt(name, draw(dz), draw(slope), draw(slope))
        elif kind == "follow":
            given[name] = follow(name, draw(dz))
        else:
            given[name] = shift(name, draw(dz))
    return corrections(**given)
