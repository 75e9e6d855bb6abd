"""A programme as its blocks run: calls of subprogrammes of the same file followed, and what is written folded back.

    unrolled = unroll(lines, "finish.nc")
    unrolled.lines          the blocks in the order in which they run; the calls, labels and returns taken out of them
    unrolled.origin         the line of the file that each came from
    unrolled.folded(now)    the file with what was made of those blocks; each block of it must have become one thing
    unrolled.without_calls()  where that cannot be: which of the blocks may stand in a file as they run

Followed are M98 P, G65 P and L with the number of a subprogramme (M99 or M17 ends it), M97 P with the N of a block (M99
ends it), and ``O.. sub`` with ``O.. call`` (RS274/NGC, 3.7; the others are dialects, from memory). Blocks of a call
behind ``/`` are behind ``/`` themselves. Jumps and loops are not followed: the reader knows nothing behind them.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from floorfit.errors import Finding, InputError
from floorfit.nc.motions import Motions
from floorfit.nc.words import BadBlock, Block, read_block

__all__ = ["COMMENT", "Unrolled", "behind_end", "jumps_to", "unroll", "unseen_calls"]

#: A call in dialects may be P with the repeats before the last four digits (from memory).
_REPEATS = 10_000
#: Stands for a call, and for the return, where parameters are the subprogramme's own: a setting of none of them.
_OWN_PARAMETERS = "#0=#0\n"
#: Calls within calls, and blocks that run, that are followed.
_DEEPEST, _MOST = 10, 3_000_000
_CALL = re.compile(r"M0*9[78](?!\d)|G0*65(?!\d)|call|^[ \t]*/?(?:N\d+)?[ \t]*L[ \t]*\d", re.IGNORECASE | re.MULTILINE)
#: Lines that a call may depend on; the rest run as they stand.
_ODD = re.compile(r"[OML:%]|G0*65|IF|GOTO|WHILE", re.IGNORECASE)
_LABEL = re.compile(r"[O:][ \t]*\d+", re.IGNORECASE)
_N = re.compile(r"[ \t]*(?:/\d?)?[ \t]*N[ \t]*0*(\d+)", re.IGNORECASE)
_O_WORD = re.compile(r"[ \t]*(?:/\d?)?[ \t]*O[ \t]*(\d+|<[^>]*>)[ \t]*(sub|endsub|call)(?![a-z])", re.IGNORECASE)
#: The start of a programme, an axis word, and comments, where no block is read.
_STARTS = re.compile(r"\s*([O:]\d+)")
_AXIS_WORD = re.compile(r"(?<![A-Z])[XYZ][ \t]*[-+]?[\d.\[#]")
COMMENT = re.compile(r"\([^()]*\)|;.*")
#: Jumps by number or by a parameter (dialects, from memory).
_JUMP = re.compile(r"(?:GOTO|M0*99[ \t]*P)[ \t]*(?:0*(\d+)|[\[#])", re.IGNORECASE)


@dataclass(frozen=True)
class Unrolled:
    """Blocks as they run.

    Parameters
    ----------
    file, lines : list of str
        The file, and its blocks in the order in which they run.
    origin : list of int
        Line of the file, from 0, of each.
    source : str
        Name of the file.
    """

    file: list[str]
    lines: list[str]
    origin: list[int]
    source: str

    def folded(self, now: Sequence[str | list[str]]) -> dict[int, str | list[str]]:
        """What stands in place of the lines of the file that change.

        Parameters
        ----------
        now : sequence of str or list of str
            What became of each block that runs.

        Raises
        ------
        InputError
            With the line, where a block that runs several times would have to become different blocks.
        """
        out: dict[int, str | list[str]] = {}
        runs: dict[int, str | list[str]] = {}
        faults: dict[int, str] = {}
        for was, new, line in zip(self.lines, now, self.origin, strict=True):
            if runs.setdefault(line, new) != new:
                faults[line] = (
                    "this block runs more than once, in other places, and one offset does not suit them all. Where it "
                    "goes down to a floor in steps, say --band with the height of the first over the floor, and all "
                    "move with it; else have the calls written out (parameters of a subprogramme's own, and jumps, are "
                    "in the way of doing so here), or give each floor a subprogramme of its own."
                )
            elif new != was and was.rstrip("\r\n") != self.file[line].rstrip("\r\n"):
                faults[line] = "an offset would go into a block that also calls, returns, or is called behind /."
                faults[line] += " Write its motion in a block of its own, without the /."
            elif new != was:
                out[line] = new if self.file[line].endswith("\n") or isinstance(new, list) else new.rstrip("\r\n")
        found = [Finding("called-otherwise", self.source, f"line {k + 1}", faults[k]) for k in sorted(faults)]
        if found:
            raise InputError(found[:5])
        return out

    def without_calls(self) -> list[int]:
        """Blocks as they run that may stand in a file alone: those of calls, labels and returns are left out.

        None may where a subprogramme has parameters of its own, or something jumps.
        """
        own = {k for k, line in enumerate(self.lines) if line.endswith(_OWN_PARAMETERS)}
        stood = [self.file[line].strip() for line in self.origin]
        some = [k for k, line in enumerate(self.lines) if k not in own and (line.strip() or not stood[k])]
        is_bound = bool(own) and any("#" in self.lines[k] for k in some)
        return [] if is_bound or jumps_to(self.lines) else some

    def not_run(self) -> list[str]:
        """Lines of the file, those that run left empty."""
        run = set(self.origin)
        return ["" if number in run else line for number, line in enumerate(self.file)]

    def in_file(self, text: str) -> str:
        """Words about lines that run, said of the file."""
        number = r"(?<=\bline )\d+|(?<=\blines )\d+|(?<=\d to )\d+(?=$)"
        return re.sub(number, lambda found: str(self.origin[int(found[0]) - 1] + 1), text)


def unroll(lines: list[str], source: str) -> Unrolled | None:
    """Follow the calls of a programme; None where it calls nothing that stands in the file.

    Parameters
    ----------
    lines : list of str
    source : str
        Name of the file.

    Raises
    ------
    InputError
        If calls within calls do not end.
    """
    if not _CALL.search("".join(lines)):
        return None
    out = _Unroller(lines, source)
    out.run(0, 0, "")
    if out.is_called and out.unknown >= 0:
        text = "the number called depends on the run, and may be of this file. Have the call written out."
        raise InputError([Finding("called-otherwise", source, f"line {out.origin[out.unknown] + 1}", text)])
    return Unrolled(lines, out.lines, out.origin, source) if out.is_called else None


@dataclass
class _Unroller:
    file: list[str]
    source: str
    lines: list[str] = field(default_factory=list)
    origin: list[int] = field(default_factory=list)
    is_called: bool = False
    has_jumps: bool = False
    percents: int = 0
    unknown: int = -1

    def __post_init__(self) -> None:
        self.blocks: dict[int, Block] = {}
        self.labels: dict[int, int] = {}
        self.numbers: dict[int, int] = {}
        self.subs: dict[str, int] = {}
        for number, text in enumerate(self.file):
            named, numbered = _O_WORD.match(text), _N.match(text)
            if numbered:
                self.numbers.setdefault(int(numbered[1]), number)
            if named and named[2].lower() == "sub":
                self.subs.setdefault(named[1].lower(), number)
            elif (label := self.block(number).label) and _ODD.search(text):
                self.labels.setdefault(int(label[1:]), number)

    def block(self, number: int) -> Block:
        """A line taken apart; nothing in it where no call depends on it."""
        if number not in self.blocks:
            try:
                odd = _ODD.search(self.file[number])
                self.blocks[number] = read_block(self.file[number]) if odd else Block()
            except BadBlock:
                self.blocks[number] = Block()
        return self.blocks[number]

    def run(self, at: int, depth: int, optional: str) -> bool:
        """Follow blocks from a line to the end of the programme (then True), or of what was called."""
        if depth > _DEEPEST or len(self.lines) > _MOST:
            text = "the calls within calls do not end, or run more than three million blocks. Have them written out."
            raise InputError([Finding("called-otherwise", self.source, f"line {at + 1}", text)])
        first, is_behind_end, is_macro = at, False, False
        while at < len(self.file):
            text, block = self.file[at], self.block(at)
            named = _O_WORD.match(text)
            word = named[2].lower() if named else ""
            self.percents += block.percent
            if word == "endsub" or (block.percent and self.percents > 1) or (is_behind_end and block.label):
                return depth == 0
            if word == "sub" and named and not (depth and at == first):
                at = self._end_of(named[1].lower(), at) + 1
                continue
            if (depth and at == first and block.label) or word == "sub":
                text = _LABEL.sub("", text, count=1) if block.label else text[len(text.rstrip("\r\n")) :]
            misc = {one.value for one in block.words if one.letter == "M"}
            is_return = bool(misc & {99.0, 17.0}) and not block.deleted and "P" not in {w.letter for w in block.words}
            self.has_jumps |= (bool(block.flow) and not named) or (99.0 in misc and not is_return)
            targets = self._calls(block, word, named[1].lower() if named else "")
            if targets is not None:
                self.is_called = True
                is_macro = word == "call" or _is_macro(block)
                text = _OWN_PARAMETERS if is_macro else _without(text, block)
            elif is_return and depth:
                text = _without(text, block)
            self._add(text, at, optional)
            for target in targets or ():
                if self.run(target, depth + 1, "/" if block.deleted else optional):
                    return True
                if is_macro:
                    self._add(text, at, optional)
            if is_return or (misc & {2.0, 30.0} and not block.deleted and not self.has_jumps):
                return not (is_return and depth)
            is_behind_end |= bool(misc & {2.0, 30.0})
            at += 1
        return False

    def _end_of(self, name: str, at: int) -> int:
        for number in range(at, len(self.file)):
            found = _O_WORD.match(self.file[number])
            if found and found[2].lower() == "endsub" and found[1].lower() == name:
                return number
        return len(self.file)

    def _add(self, text: str, at: int, optional: str) -> None:
        text = text if text.endswith(("\n", "\r")) else text + "\n"
        self.lines.append(optional + text if optional and not self.block(at).deleted and text.strip() else text)
        self.origin.append(at)

    def _calls(self, block: Block, word: str, name: str) -> list[int] | None:
        """Lines at which what a block calls begins, once for each run; None where it calls nothing of this file."""
        if word == "call":
            return [self.subs[name]] if name in self.subs else None
        values = {w.letter: w.value for w in block.words if w.letter not in "GM"}
        misc = [w.value for w in block.words if w.letter == "M"]
        target, repeats, where = values.get("P", -1.0), values.get("L", 1.0), self.labels
        if set(values) - {"P"} == {"L"} and len(values) == len(block.words):
            target, repeats = values["L"], values.get("P", 1.0)
        elif 97.0 in misc:
            where = self.numbers
        elif not (98.0 in misc and not set(values) & {"H", "Q"}) and not _is_macro(block):
            return None
        if target >= _REPEATS and target not in where and "L" not in values:
            target, repeats = target % _REPEATS, target // _REPEATS
        if target != target or repeats != repeats:
            self.unknown = len(self.lines)
        if not target >= 0 or target not in where or repeats != repeats:
            return None
        return [where[int(target)]] * max(int(repeats), 1)


def _is_macro(block: Block) -> bool:
    return any(word.letter == "G" and word.value == 65 for word in block.words)


def _without(text: str, block: Block) -> str:
    """A line without the words that call or return; comments stay."""
    for word in reversed(block.words):
        if word.letter in "PL" or (word.letter == "M" and word.value in (97, 98, 99, 17)):
            text = text[: word.start] + text[word.end :]
    return text


def jumps_to(lines: Sequence[str]) -> frozenset[int]:
    """Lines that a jump may lead to, from 0: nothing is known there of what ran before.

    Parameters
    ----------
    lines : sequence of str
    """
    targets = set(_JUMP.findall("".join(lines)))
    numbers = {number: found[1] for number, line in enumerate(lines) if targets and (found := _N.match(line))}
    return frozenset(number for number, name in numbers.items() if "" in targets or name in targets)


def behind_end(lines: Sequence[str], first: int, source: str, *, is_behind: bool = False) -> list[Finding]:
    """Blocks behind the end are not read: an error where they are a programme that moves the tool, else a warning.

    Parameters
    ----------
    lines : sequence of str
    first : int
        The line behind the end.
    source : str
        Name of the programme.
    is_behind : bool
        Whether the second line of ``%`` stands before that one.
    """
    label = ""
    for number in range(first, len(lines)):
        text = COMMENT.sub("", lines[number]).upper()
        is_behind = is_behind or text.lstrip().startswith("%")
        found = _STARTS.match(text)
        label = found[1] if found else label
        if not _AXIS_WORD.search(text):
            continue
        if label and not is_behind:
            told = (
                f"{label} is a programme of its own behind the end of the first, and would be left as it is. Split the "
                "file, and correct each programme."
            )
            return [Finding("second-programme", source, f"line {number + 1}", told)]
        told = "the tool is moved behind the end of the programme: that is left as it is. If it runs, split the file."
        return [Finding("behind-end", source, f"line {number + 1}", told, "warning")]
    return []


def unseen_calls(motions: Motions, keep: Collection[str], source: str) -> list[Finding]:
    """A warning for every programme whose call was not followed, and that is not stated to cut no floor.

    Parameters
    ----------
    motions : Motions
    keep : sequence of str
        Programmes that are stated to cut no floor, as ``"O9000"``.
    source : str
        Name of the programme.
    """
    if not motions.calls:
        return []
    known = {int(digits) for name in keep if (digits := name.strip().lstrip("OoPpLl:")).isdigit()}
    out: dict[float, Finding] = {}
    for row, target in motions.calls:
        if target in known or (target >= _REPEATS and target % _REPEATS in known):
            continue
        name = "a programme" if target != target else f"O{target:g}"
        text = (
            f"{name} is called and stands in another file: what it cuts is not seen here and gets no offset. Where it "
            f"cuts no floor, say --keep {name}."
        )
        out.setdefault(target, Finding("unseen", source, f"line {motions.line[row] + 1}", text, "warning"))
    return list(out.values())
