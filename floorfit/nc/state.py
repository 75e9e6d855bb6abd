"""The state of the machine while a programme is read: position, modes, and what is not known and why."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from floorfit.arrays import Array
from floorfit.errors import Finding
from floorfit.nc.codes import CYCLES, name_of
from floorfit.nc.motions import COLUMNS, FLOW, JUMP, Modal, Motions, RowTable

__all__ = ["AXES", "FIELD", "LINEAR", "NAN", "UNSTATED", "Machine", "known"]

NAN = math.nan
#: By axis or part of the state: line and words.
_Reasons = dict[str, tuple[int, str]]
AXES = "XYZABC"
LINEAR = "XYZ"
#: Parts of the state that a motion's meaning hangs on.
_NEEDED = ("motion", "units", "distance", "radius compensation", "work offset", "transform", "frame", "shift")
_AFTER_FLOW = ("motion", "units", "distance", "plane", "radius compensation", "work offset")
#: Two positions are one, mm or degrees: sums of increments that come back differ by less (float64).
_SAME_PLACE = 1e-9
#: Setting this parameter, which no control lets be set, stands for a macro's own set of parameters (`subprogrammes`).
CLEARS = 0.0
#: Stands for a number that a parameter gives (T#1, S#102).
UNSTATED = -2.0
#: Work offset that G10 L2 and L20 set by P (NISTIR 6556, 3.5.5); P0 is the one in force (dialect).
_OFFSETS = {float(k): name_of(code) for k, code in enumerate((*range(540, 600, 10), 591, 592, 593), start=1)}
#: L words of G10 that set a zero, and those that set the length of a tool (NISTIR 6556, 3.5.5: L2; others dialect).
_SHIFTS, _TOOL_LENGTHS = (2.0, 20.0), (1.0, 10.0, 11.0)
#: Field of `Modal` that holds each group.
FIELD = {
    **{name: name for name in ("motion", "plane", "transform", "frame", "shift")},
    **{name: name.replace(" ", "_") for name in ("feed mode", "return level", "work offset", "path mode")},
    **{"distance": "absolute", "arc distance": "arc_absolute", "units": "unit_mm"},
    **{"radius compensation": "compensation", "length offset": "length"},
}


def known(value: float) -> float:
    """Return a number that equals itself: `UNSTATED` for one that only the control knows."""
    return value if value == value else UNSTATED


class Machine:
    """Position and modes, and the rows so far; the reader moves it on."""

    def __init__(self, source: str, units: str | None, distance: str | None) -> None:
        """Start in the state that RS274/NGC gives, with units and distance mode unknown unless told."""
        self.source = source
        self.position = [NAN, NAN, NAN, 0.0, 0.0, 0.0]
        self.why: _Reasons = dict.fromkeys(LINEAR, (0, "no position was programmed before"))
        self.unsure: _Reasons = {"motion": (0, "no G0, G1, G2 or G3 was programmed before")}
        self.state = Modal(unit_mm=25.4 if units == "in" else 1.0, absolute=distance != "incremental")
        if units is None:
            self.unsure["units"] = (0, "no G20 or G21 before the first move: give --units mm or --units in")
        if distance is None:
            text = "no G90 or G91 before the first move: give --distance absolute or incremental"
            self.unsure["distance"] = (0, text)
        #: Parameters whose values are known, by number.
        self.parameters: dict[float, float] = {}
        self.feed_word = NAN
        self.cycle: dict[str, float] = {}
        self.levels: dict[int, float] = {}
        self.calls: list[tuple[int, float]] = []
        self.lengths_used: set[float] = set()
        self.rows = RowTable(COLUMNS)
        self.modals: dict[Modal, int] = {}
        self.reasons: dict[int, tuple[int, str]] = {}
        self.findings: list[Finding] = []
        #: Position, state, reasons, doubts and feed in front of optional blocks.
        self.saved: tuple[list[float], Modal, _Reasons, _Reasons, float] | None = None
        self.deleted_line = 0
        self.ended, self.percents, self.labels, self.frame_set = False, 0, 0, False
        #: The G word that moved the zero last, ten times its number.
        self.shifted_by = 0
        self.flow_seen = False
        self.is_high = False
        self.vector = 0
        self.vectors: dict[tuple[float, float, float], int] = {(0.0, 0.0, 1.0): 0}

    def motions(self) -> Motions:
        """Return what was read."""
        told = self.reasons, tuple(self.findings), tuple(self.calls), self.levels
        return Motions.of(self.rows, tuple(self.vectors), tuple(self.modals), *told)

    def bad(self, number: int, text: str) -> None:
        """Note a block that cannot be read, and forget everything."""
        self.findings.append(Finding("unreadable", self.source, f"line {number + 1}", f"{text}. Correct the block."))
        self.barrier(number, "the block cannot be read")

    def set_parameters(self, sets: Iterable[tuple[float, float]], *, is_sure: bool) -> None:
        """Keep what parameters are set to by numbers; those of the control itself (from 1000 on) are never known."""
        for number, value in sets:
            if number != number or number == CLEARS:
                self.parameters = {}
            elif is_sure and value == value and number < 1000:
                self.parameters[number] = value
            else:
                self.parameters.pop(number, None)

    def open_deleted(self, number: int) -> None:
        """Keep the state in front of optional blocks."""
        self.saved = (self.position[:], self.state, dict(self.why), dict(self.unsure), self.feed_word)
        self.deleted_line = number

    def close_deleted(self, number: int) -> None:
        """Where the optional blocks end, keep only what holds whether they ran or not."""
        if self.saved is None:
            return
        position, state, why, unsure, feed = self.saved
        self.saved = None
        reason = (self.deleted_line, "it differs with the optional ('/') block run or skipped")
        pairs = zip(AXES, position, self.position, strict=True)
        changed = [axis for axis, a, b in pairs if not abs(a - b) < _SAME_PLACE]
        self.why.update(why)
        self.unsure.update(unsure)
        for group, name in FIELD.items():
            if getattr(state, name) != getattr(self.state, name):
                self.unsure[group] = reason
        if feed != self.feed_word and feed == feed:
            self.feed_word = NAN
        self.jump(number, changed, reason)

    def barrier(self, number: int, text: str, kind: int = JUMP) -> None:
        """Forget the position and the state: from here the programme must state them again."""
        self.unsure.update(dict.fromkeys(_AFTER_FLOW, (number, text)))
        self._lose(number, text, kind)

    def _lose(self, number: int, text: str, kind: int) -> None:
        """Forget the position, parameters and the cycle."""
        self.parameters, self.cycle, self.is_high = {}, {}, False
        self.jump(number, LINEAR, (number, text), kind)

    def called(self, number: int, name: str, target: float) -> None:
        """A call of another file came back: the place is not known; units, distance and zero are taken as before."""
        text = (
            f"{name} calls another programme: units, distance mode and work offset are taken to be the same after it."
        )
        self.findings.append(Finding("call", self.source, f"line {number + 1}", text, "warning"))
        self.unsure["motion"] = (number, f"{name} called another programme")
        self.flow_seen = True
        self._lose(number, f"{name} called another programme", FLOW)
        self.calls.append((len(self.rows) - 1, target))

    def jump(self, number: int, axes: Iterable[str], reason: tuple[int, str], kind: int = JUMP) -> None:
        """Make axes unknown, with the line and the reason.

        Parameters
        ----------
        number : int
            Line, from 0.
        axes : iterable of str
        reason : (int, str)
            Line and words, for messages.
        kind : int
            Of the row that is noted.
        """
        axes = list(axes)
        for axis in axes:
            self.position[AXES.index(axis)] = NAN
            self.why[axis] = reason
        if axes:
            self.row(number, kind)

    def set_mode(self, group: str, code: int, values: dict[str, float]) -> None:
        """Set the mode that a G word names."""
        value: object = code
        if group == "units":
            value = 25.4 if code in (200, 700) else 1.0
        elif group in ("distance", "arc distance"):
            value = code in (900, 901)
        elif group == "work offset":
            letter = "H" if code == 150 else "P"
            value = name_of(code) + (f" {letter}{values.get(letter, NAN):g}" if letter in values or code == 541 else "")
        elif group == "length offset":
            value = (code, known(values.get("H", self.state.length[1])))
            self.vector = 0
            self.lengths_used.add(value[1])
        elif group == "path mode":
            value = (code, known(values.get("P", 0.0) * self.state.unit_mm))
        before = getattr(self.state, FIELD[group])
        self.unsure.pop(group, None)
        if value == before and group != "motion":
            return
        self.state = self.state._replace(**{FIELD[group]: value})  # type: ignore[arg-type]
        if group == "motion":
            self.cycle = self.cycle if code in CYCLES else {}
        elif group in ("work offset", "length offset"):
            if group == "work offset" and any(self.state.shift):
                self.state = self.state._replace(frame=self.state.frame + 1)
            for axis in LINEAR if group == "work offset" else "Z":
                self.position[AXES.index(axis)] = NAN
                self.why[axis] = (-1, f"{name_of(code)} gave it another zero, and no {axis} was programmed after")

    def set_transform(self, number: int, name: str) -> None:
        """A turned, scaled, mirrored, tilted or polar frame begins, or ends: no place is known across that."""
        if name != self.state.transform:
            self.state = self.state._replace(transform=name)
            self.jump(number, LINEAR, (number, f"{name or 'the end of a turned or scaled frame'} changed the frame"))

    def warn_unknown(self, number: int, code: int) -> None:
        """Warn of a G word that is not known here."""
        name = name_of(code)
        text = f"{name} is not known here; it was left. Where it leaves the way of the tool alone, say --keep {name}."
        self.findings.append(Finding("unknown-code", self.source, f"line {number + 1}", text, "warning"))

    def set_words(self, values: dict[str, float], misc: list[float]) -> None:
        """Set what F, S, T and M6 set."""
        if "F" in values:
            self.feed_word = values["F"]
        if "T" in values:
            self.state = self.state._replace(selected=known(values["T"]))
        if "S" in values:
            self.state = self.state._replace(spindle=known(values["S"]))
        if 6.0 in misc:
            self.state = self.state._replace(tool=self.state.selected)

    def doubt(self, number: int) -> tuple[int, str] | None:
        """Return why the meaning of a motion is in doubt, or None."""
        if self.state.transform:
            return number, f"{self.state.transform} is in force, so that X, Y, Z are not places on the part"
        for group in _NEEDED:
            if group in self.unsure:
                return self.unsure[group]
        if self.state.motion in (20, 30):
            return self.unsure.get("plane")
        return None

    def row(self, number: int, kind: int, reason: tuple[int, str] | None = None) -> None:
        """Add a row that ends where the tool is."""
        rows, (x, y, z, a, b, c) = self.rows, self.position
        if x != x or y != y or z != z or reason is not None:
            axis = "X" if x != x else "Y" if y != y else "Z"
            self.reasons[len(rows)] = reason or self.why.get(axis, (number, "its position is not known"))
        high, modal = self.is_high and z != z, self.modals.setdefault(self.state, len(self.modals))
        rows.add(number, kind, modal, 0, self.vector, high, x, y, z, a, b, c, NAN, NAN, NAN, self.feed_word)

    # -- words that move the zero: G10, G52 and G92 with their axis words, and parameters -----------------------------

    def frame_word(self, number: int, values: dict[str, float], code: int) -> None:
        """Take a block with G10, G52 or G92, or one that leaves the place alone.

        Parameters
        ----------
        number, code : int
            Line, from 0, and ten times the number of the G word.
        values : dict of str to float
            Its other words.
        """
        axes = [axis for axis in AXES if axis in values]
        offset = _OFFSETS.get(values.get("P", 0.0), "") if values.get("L") in _SHIFTS else ""
        is_other = code == 100 and (
            not self._sets_height(values) or offset not in ("", self.state.work_offset or "G54")
        )
        is_nothing = code in (921, 922) or (code == 520 and all(values[axis] == 0 for axis in axes))
        if code in (281, 301) or is_other or (is_nothing and not self.frame_set):
            return
        shift = self._shift_by(code, values)
        self.frame_set = code not in (921, 922)
        self.zero_moved(number, name_of(code), shift)
        if code == 920:
            for axis in axes:
                self.position[AXES.index(axis)] = values[axis] * (self.state.unit_mm if axis in LINEAR else 1.0)
            self.row(number, JUMP)

    def _sets_height(self, values: dict[str, float]) -> bool:
        """Whether G10 changes a zero, or the length of a tool that was in use before (dialects: L1, L10, L11)."""
        kind, register = values.get("L", 0.0), values.get("P", NAN)
        is_length = kind != kind or kind in _TOOL_LENGTHS
        return kind in _SHIFTS or (is_length and (register != register or register in self.lengths_used))

    def _shift_by(self, code: int, values: dict[str, float]) -> Array | None:
        """Where G52, G92 or its end has the zero of the work offset moved to, mm; None where that is not known.

        G52 says the place, G92 what the place of the tool is called from here on (NISTIR 6556, 3.5.18; G52 from
        memory). Both at once add up on some controls, and the one ends the other on others.
        """
        shift, unit = np.array(self.state.shift), self.state.unit_mm
        if code in (921, 922):
            return np.zeros(3)
        named = [index for index, axis in enumerate(LINEAR) if axis in values]
        wanted = unit * np.array([values[LINEAR[index]] for index in named])
        is_other = shift.any() and self.shifted_by != code
        if code not in (520, 920) or is_other or not self.state.absolute or {"units", "distance"} & set(self.unsure):
            return None
        shift[named] = wanted if code == 520 else shift[named] + np.array(self.position)[named] - wanted
        self.shifted_by = code
        return None if np.isnan(shift).any() or set("ABC") & set(values) else shift

    def zero_moved(self, number: int, by: str, shift: Array | None = None) -> None:
        """From here the same numbers are other places.

        Parameters
        ----------
        number : int
            Line, from 0.
        by : str
            The word, for messages.
        shift : (3,) ndarray or None, mm
            Where the zero of the work offset is now; None where that is not known.
        """
        if shift is None:
            self.state = self.state._replace(frame=self.state.frame + 1)
        else:
            self.state = self.state._replace(shift=tuple(shift.tolist()))
        self.jump(number, LINEAR, (number, f"{by} moved the zero"))
