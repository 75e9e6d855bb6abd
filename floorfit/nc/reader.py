"""Run a programme block by block without a machine: the modal interpreter.

Rules of RS274/NGC (NISTIR 6556): a fixed order of action within a block (3.8), modal groups (3.4), words left out.
What depends on the run (parameters, calls, optional blocks that differ) makes the position or the state unknown from
there on, with the line as its reason, until the programme states it again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from floorfit.nc.arcs import PLANE_AXES, arc_fault, radius_centre
from floorfit.nc.codes import CALLS, CYCLES, FLOW_M, GROUP, SETS_FRAME, code_of, moves_zero, name_of
from floorfit.nc.motions import CLOCKWISE, CYCLE, FLOW, OTHER_ARC, UNKNOWN, Motions
from floorfit.nc.state import AXES, FIELD, LINEAR, NAN, Machine
from floorfit.nc.subprogrammes import behind_end, jumps_to
from floorfit.nc.words import FAST_BLOCK, FAST_WORD, BadBlock, Block, read_block, with_numbers

__all__ = ["Reader", "read_motions"]

#: Stands for a block whose axis words are no motion.
NO_MOTION = -2


def read_motions(
    lines: Sequence[str],
    *,
    source: str = "programme",
    units: str | None = None,
    distance: str | None = None,
    tick: Callable[[int], None] | None = None,
) -> Motions:
    """Read a programme as motions.

    Parameters
    ----------
    lines : sequence of str
        Lines with their ends, decoded byte for byte (latin-1).
    source : str
        Name of the programme for findings.
    units : {"mm", "in"} or None
        Unit in force before the programme states one.
    distance : {"absolute", "incremental"} or None
        Distance mode in force before the programme states one.
    tick : callable or None
        Called with the number of lines read, every 5000 lines.

    Returns
    -------
    Motions
        Errors are in its findings; nothing is raised.
    """
    reader = Reader(source, units, distance)
    number, targets = 0, jumps_to(lines)
    while number < len(lines) and not reader.ended:
        if number in targets:
            reader.barrier(number, "a jump may lead here, from another place", FLOW)
        reader.feed(number, lines[number])
        number += 1
        if tick is not None and number % 5000 == 0:
            tick(number)
    reader.findings += behind_end(lines, number, source, is_behind=reader.percents > 1)
    return reader.motions()


class Reader(Machine):
    """The interpreter. Feed it lines in order, then take the motions."""

    def feed(self, number: int, text: str) -> None:
        """Run one line.

        Parameters
        ----------
        number : int
            Of the line.
        text : str
        """
        if not text:
            return
        words = FAST_WORD.findall(text) if FAST_BLOCK.fullmatch(text) else []
        single = {letter: float(raw) for letter, raw in words}
        if words and len(single) == len(words):
            self.close_deleted(number)
            values = {letter: value for letter, value in single.items() if letter not in "NGM"}
            self._block(number, values, *([single[letter]] if letter in single else [] for letter in "GM"))
        else:
            self._slow(number, text)

    def _slow(self, number: int, text: str) -> None:
        try:
            block = read_block(with_numbers(text, self.parameters) if self.parameters else text)
        except BadBlock as error:
            self.bad(number, str(error))
            return
        if block.percent:
            self.percents += 1
            self.ended = self.percents > 1
            return
        if block.deleted and self.saved is None and (block.words or block.flow):
            self.open_deleted(number)
        elif not block.deleted and (block.words or block.flow or block.label):
            self.close_deleted(number)
        self._run(number, block)
        self.set_parameters(block.sets, is_sure=not block.deleted)

    def _run(self, number: int, block: Block) -> None:
        if block.label:
            self.labels += 1
            if self.labels > 1 or len(self.rows):
                self.barrier(number, f"{block.label} starts another programme or subprogramme")
        if block.flow:
            self.flow_seen = True
            self.barrier(number, f"{block.flow} makes the flow depend on the run", FLOW)
            if block.flow == "O call":
                self.calls.append((len(self.rows) - 1, NAN))
            return
        values = {word.letter: word.value for word in block.words if word.letter not in "GM"}
        if any(moves_zero(parameter) for parameter, _ in block.sets):
            self.zero_moved(number, "a parameter")
        codes = [word.value for word in block.words if word.letter == "G"]
        misc = [word.value for word in block.words if word.letter == "M"]
        if values or codes or misc:
            self._block(number, values, codes, misc)

    def _block(self, number: int, values: dict[str, float], codes: list[float], misc: list[float]) -> None:
        numbers = sorted((code_of(value) for value in codes), key=(800).__ne__)
        fault = self._group_fault(numbers)
        if fault:
            self.bad(number, fault)
            return
        special, unknown = -1, []
        for code in numbers:
            group = GROUP.get(code, "")
            if group == "once":
                special = special if special in (*SETS_FRAME, 280, 300, NO_MOTION) else code
            elif group in FIELD:
                self.set_mode(group, code, values)
                if code == 431 and "H" not in values and any(axis in values for axis in LINEAR):
                    self.zero_moved(number, "G43.1")
                    special = NO_MOTION
            elif group == "macro":
                self.called(number, name_of(code), values.get("P", NAN))
                special = NO_MOTION
            elif code < 0:
                self.flow_seen = True
                self.barrier(number, f"{name_of(code)} depends on the run", FLOW)
            elif group in ("turn", "turn back"):
                self._transform(number, code, values)
                special = NO_MOTION
            elif group == "probe":
                special = code
            else:
                unknown.append(code)
                if group != "quiet":
                    self.warn_unknown(number, code)
        if set(values) - {"P"} == {"L"} and not codes and not misc and self.state.motion not in CYCLES:
            self.called(number, f"L{values['L']:g}", values["L"])
        self.set_words(values, misc)
        self._act(number, values, tuple(unknown), special)
        self._stop(number, values, misc)

    def _transform(self, number: int, code: int, values: dict[str, float]) -> None:
        """Begin or end a turned frame; axis words beside its code may move the tool, and nobody here knows where."""
        self.set_transform(number, name_of(code) if GROUP[code] == "turn" else "")
        if code == 150 and "H" in values:
            self.set_mode("work offset", code, values)
        axes = [axis for axis in AXES if axis in values]
        if axes:
            self.jump(number, axes, (number, f"{name_of(code)} stands in a block with axis words"))

    def _group_fault(self, numbers: list[int]) -> str:
        """Two words of one modal group; G80 beside another motion word only ends a cycle, as in common use."""
        seen: dict[str, int] = {}
        for code in numbers:
            group = GROUP.get(code, "")
            if code == 800 and any(other != 800 and GROUP.get(other) == "motion" for other in numbers):
                continue
            if group in FIELD and group in seen:
                return f"{name_of(seen[group])} and {name_of(code)} are of one modal group ({group})"
            seen[group] = code
        return ""

    def _stop(self, number: int, values: dict[str, float], misc: list[float]) -> None:
        flow = [value for value in misc if value != value or round(value) in FLOW_M]
        if flow and round(flow[0] if flow[0] == flow[0] else 0) in CALLS:
            self.called(number, f"M{flow[0]:g}", values.get("P", NAN))
        elif flow:
            self.flow_seen = True
            name = f"M{flow[0]:g} calls, returns or jumps" if flow[0] == flow[0] else "an M word that is a parameter"
            self.barrier(number, name, FLOW)
        if (2.0 in misc or 30.0 in misc) and self.saved is None:
            self.ended = not self.flow_seen
            self.barrier(number, "the programme ended before")

    def _act(self, number: int, values: dict[str, float], unknown: tuple[int, ...], special: int) -> None:
        if special in (40, NO_MOTION):
            return
        if special in (100, *SETS_FRAME, 281, 301):
            self.frame_word(number, values, special)
        elif special in (280, 300):
            self._reference(number, values, special)
        elif GROUP.get(special) == "probe":
            self.jump(number, LINEAR, (number, f"{name_of(special)} probed"))
        elif unknown and any(letter in values for letter in "XYZABCUVWIJKR"):
            self._unknown(number, values, name_of(unknown[0]))
        elif special == 530:
            axes = [axis for axis in AXES if axis in values]
            self.is_high = (self.is_high and "Z" not in values) or values.get("Z", -1.0) >= 0
            self.jump(number, axes, (number, "G53 moved it in machine coordinates"))
        else:
            self._move(number, values)

    def _reference(self, number: int, values: dict[str, float], code: int) -> None:
        axes = [axis for axis in AXES if axis in values]
        self.is_high = self.is_high or "Z" in axes or not set(LINEAR) & set(axes)
        self.jump(number, [*dict.fromkeys([*axes, *LINEAR])], (number, f"{name_of(code)} went to a reference point"))

    def _unknown(self, number: int, values: dict[str, float], name: str) -> None:
        axes = [axis for axis in LINEAR if axis in values] or [*LINEAR]
        self.row(number, UNKNOWN, (number, f"{name} is a motion that this reader does not know"))
        if "Z" in values or "W" in values:
            self.rows.set_last("low", -np.inf)
        self.jump(number, axes, (number, f"{name} is not known here"))

    def _move(self, number: int, values: dict[str, float]) -> None:
        state, position = self.state, self.position
        motion = state.motion
        moved = False
        scale = state.unit_mm
        if motion in CYCLES:
            if any(letter in values for letter in "XYZR"):
                self._cycle(number, values)
            return
        start = tuple(position[:3])
        for index, axis in enumerate(AXES):
            if axis in values:
                moved = True
                value = values[axis] * (scale if index < 3 else 1.0)
                position[index] = value if state.absolute else position[index] + value
                if value != value:
                    self.why[axis] = (number, f"the {axis} word is a parameter or an expression")
                    self.is_high = self.is_high and axis != "Z"
        if "Z" in values:
            self.is_high = False
        if "W" in values or "U" in values or "V" in values:
            self.set_transform(number, "a U, V or W word")
            state, moved = self.state, True
        arc = motion in (20, 30) and ("I" in values or "J" in values or "K" in values or "R" in values)
        if state.length[0] == 435 and not arc and ("I" in values or "J" in values or "K" in values):
            self._lean(values)
            moved = True
        if not moved and not arc:
            return
        if self.unsure or state.transform:
            reason = self.doubt(number)
            if reason:
                self._doubtful(number, values, reason)
                return
        if motion in (0, 10):
            self.row(number, motion // 10)
        elif motion in (20, 30):
            self._arc(number, values, start)
        elif motion == 800 or motion < 0:
            self.bad(number, "an axis word, and no motion mode is in force")
        else:
            self.jump(number, LINEAR, (number, f"{name_of(motion)} probed"))

    def _lean(self, values: dict[str, float]) -> None:
        """Take the tool vector of a block under G43.5 (dialect): I, J and K are its direction, one left out is 0."""
        parts = tuple(values.get(letter, 0.0) for letter in "IJK")
        size = sum(part * part for part in parts) ** 0.5
        unit = (parts[0] / size, parts[1] / size, parts[2] / size) if size > 0 else (NAN, NAN, NAN)
        self.vector = self.vectors.setdefault(unit, len(self.vectors))

    def _doubtful(self, number: int, values: dict[str, float], reason: tuple[int, str]) -> None:
        if "units" in self.unsure or "distance" in self.unsure or self.state.transform not in ("", "G68"):
            for axis in LINEAR:
                if axis in values:
                    self.position[AXES.index(axis)] = NAN
                    self.why[axis] = reason
        self.row(number, UNKNOWN, reason)

    def _cycle(self, number: int, values: dict[str, float]) -> None:
        state, position = self.state, self.position
        scale = state.unit_mm
        for letter in "ZR":
            if letter in values:
                self.cycle[letter] = values[letter] * scale
        level, bottom = self.cycle.get("R", NAN), self.cycle.get("Z", NAN)
        before = position[2]
        if not state.absolute:
            level = before + level
            bottom = level + bottom
        repeats = values.get("L", values.get("K", 1.0)) if not state.absolute else 1.0
        for index in (0, 1):
            if AXES[index] in values:
                value = values[AXES[index]] * scale
                position[index] = value if state.absolute else position[index] + value * repeats
        above = before > level and state.return_level == 980
        position[2] = before if above or (before != before and state.return_level == 980) else level
        reason = self.doubt(number)
        self.row(number, CYCLE if reason is None else UNKNOWN, reason)
        self.rows.set_last("low", bottom)
        self.levels[len(self.rows) - 1] = level

    def _arc(self, number: int, values: dict[str, float], at: tuple[float, ...]) -> None:
        first, second, _ = PLANE_AXES[self.state.plane]
        start, end = (at[first], at[second]), (self.position[first], self.position[second])
        centre = self._centre(values, start, end)
        fault = arc_fault(start, end, centre)
        if fault:
            self.row(number, UNKNOWN, (number, fault))
            if self.state.plane != 170:
                # Nobody knows how deep it goes.
                self.rows.set_last("low", -np.inf)
            return
        in_plan = CLOCKWISE if self.state.motion == 20 else CLOCKWISE + 1
        self.row(number, in_plan if self.state.plane == 170 else OTHER_ARC)
        self.rows.set_last("cx", centre[0])
        self.rows.set_last("cy", centre[1])
        turns = values.get("P", 1.0)
        if "R" not in values and turns == turns and turns > 1 and turns == round(turns):
            self.rows.set_last("turns", turns - 1)

    def _centre(
        self, values: dict[str, float], start: tuple[float, float], end: tuple[float, float]
    ) -> tuple[float, float]:
        """Centre of an arc along the two axes of the plane in force."""
        scale = self.state.unit_mm
        if "R" in values:
            return radius_centre(start, end, values["R"] * scale, clockwise=self.state.motion == 20)
        first, second = ("IJK"[axis] for axis in PLANE_AXES[self.state.plane][:2])
        if self.state.arc_absolute:
            return values.get(first, NAN) * scale, values.get(second, NAN) * scale
        return start[0] + values.get(first, 0.0) * scale, start[1] + values.get(second, 0.0) * scale
