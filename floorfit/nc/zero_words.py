"""Words that move the programme's zero: G10, G52 and G92 with their axis words, and parameters."""

from __future__ import annotations

from floorfit.nc.codes import name_of
from floorfit.nc.motions import JUMP
from floorfit.nc.state import AXES, LINEAR, NAN, Machine

__all__ = ["ZeroWords"]

#: Work offset that G10 L2 and L20 set by P (NISTIR 6556, 3.5.5); P0 is the one in force (dialect).
_OFFSETS = {float(k): name_of(code) for k, code in enumerate((*range(540, 600, 10), 591, 592, 593), start=1)}
#: L words of G10 that set a zero, and those that set the length of a tool (NISTIR 6556, 3.5.5: L2; others dialect).
_SHIFTS, _TOOL_LENGTHS = (2.0, 20.0), (1.0, 10.0, 11.0)


class ZeroWords(Machine):
    """The machine, with what moves its zero."""

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
        if code in (281, 301) or (code == 100 and not self._sets_height(values)):
            return
        if code in (921, 922) and not self.frame_set:
            return
        if (
            code == 100
            and values["L"] in _SHIFTS
            and _OFFSETS.get(values.get("P", 0.0), "") not in ("", self.state.work_offset or "G54")
        ):
            return
        if code == 520 and not self.frame_set and all(values[axis] == 0 for axis in axes):
            return
        self.frame_set = code not in (921, 922)
        self.zero_moved(number, name_of(code))
        if code == 920:
            for axis in axes:
                self.position[AXES.index(axis)] = values[axis] * (self.state.unit_mm if axis in LINEAR else 1.0)
            self.row(number, JUMP)

    def _sets_height(self, values: dict[str, float]) -> bool:
        """Whether G10 changes a zero, or the length of a tool that was in use before (dialects: L1, L10, L11)."""
        kind, register = values.get("L", 0.0), values.get("P", NAN)
        is_length = kind != kind or kind in _TOOL_LENGTHS
        return kind in _SHIFTS or (is_length and (register != register or register in self.lengths_used))

    def zero_moved(self, number: int, by: str) -> None:
        """From here the same numbers are other places.

        Parameters
        ----------
        number : int
            Line, from 0.
        by : str
            The word, for messages.
        """
        self.state = self.state._replace(frame=self.state.frame + 1)
        self.jump(number, LINEAR, (number, f"{by} moved the zero"))
