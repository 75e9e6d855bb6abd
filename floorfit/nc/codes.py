"""The G codes by modal group, as NISTIR 6556 table 4 gives them, and what dialects add (marked so)."""

from __future__ import annotations

__all__ = ["CALLS", "CYCLES", "FLOW_M", "GROUP", "SETS_FRAME", "code_of", "moves_zero", "name_of"]


def code_of(value: float) -> int:
    """Return ten times a G number, so that ``G91.1`` is 911; -1 where it is not a number."""
    return round(value * 10) if value == value else -1


def name_of(code: int) -> str:
    """Return the word again: 911 gives ``"G91.1"``."""
    return "G?" if code < 0 else f"G{code // 10}" + (f".{code % 10}" if code % 10 else "")


#: Parameters that hold a zero of the programme: RS274/NGC 5161 to 5390 (NISTIR 6556, table 2); 2001 to 2999, 7001 to
#: 7999 and 10001 to 20000 in dialects, tool lengths among them (from memory).
_ZEROS = ((2001, 2999), (5161, 5390), (7001, 7999), (10001, 20000))


def moves_zero(parameter: float) -> bool:
    """Whether setting a parameter of this number may move the programme's zero; NaN for a number not known."""
    return parameter != parameter or any(low <= parameter <= high for low, high in _ZEROS)


#: Canned cycles; G73, G74 and G76 are dialect.
CYCLES = frozenset({730, 740, 760, *range(810, 900, 10)})

#: Further work offsets of dialects: G110, G111, G114 to G129, G154 P, G505 to G599.
MORE_OFFSETS = (1100, 1110, *range(1140, 1300, 10), 1540, *range(5050, 6000, 10))

#: Modal group of each code. NISTIR 6556 table 4; G70/G71, G54.1, G43.x, G44, G41.1/G42.1, G95 are dialect.
GROUP: dict[int, str] = {
    **dict.fromkeys((0, 10, 20, 30, 800, *range(382, 386), *CYCLES), "motion"),
    **dict.fromkeys((170, 180, 190), "plane"),
    **dict.fromkeys((900, 910), "distance"),
    **dict.fromkeys((901, 911), "arc distance"),
    **dict.fromkeys((930, 940, 950), "feed mode"),
    **dict.fromkeys((200, 210, 700, 710), "units"),
    **dict.fromkeys((400, 410, 420, 411, 421), "radius compensation"),
    **dict.fromkeys((430, 431, 432, 434, 435, 440, 490), "length offset"),
    **dict.fromkeys((980, 990), "return level"),
    **dict.fromkeys((540, 541, 550, 560, 570, 580, 590, 591, 592, 593, *MORE_OFFSETS), "work offset"),
    **dict.fromkeys((610, 611, 640), "path mode"),
    **dict.fromkeys((40, 90, 100, 280, 281, 300, 301, 520, 530, 920, 921, 922, 923), "once"),
    # Codes that turn, scale, mirror or tilt the frame, or give X and Y another meaning (dialect), and what ends that;
    # under G66 a macro runs behind every motion.
    **dict.fromkeys((160, 510, 511, 660, 661, 680, 681, 682, 683, 684, 1120, 71, 121, 1070), "turn"),
    **dict.fromkeys((131, 150, 500, 501, 670, 690, 691, 1130), "turn back"),
    # Probing and tool setting moves that act in their block only, and calls of a macro (dialect).
    **dict.fromkeys((310, 311, 360, 370), "probe"),
    **dict.fromkeys((650,), "macro"),
    # Smoothing, look-ahead, exact stop, limits and spindle speed, which move nothing by themselves (dialect, from
    # memory): G5 and G5.1 high speed, G8, G22 and G23, G25 and G26, G60, G62, G63, G96 and G97, G187, G450, G60x.
    **dict.fromkeys((50, 51, 80, 220, 230, 250, 260, 600, 620, 630, 960, 970, 1870, 4500, 4510), "quiet"),
    **dict.fromkeys((6010, 6020, 6030, 6410, 6420, 6430, 6440, 6450), "quiet"),
}

#: Group 0 codes that move the programme's zero.
SETS_FRAME = frozenset({520, 920, 921, 922, 923})
#: M codes that call, return or jump (dialect; RS274/NGC v3 has none).
FLOW_M = frozenset({96, 97, 98, 99, 198})
#: M codes that call another programme and come back (dialect).
CALLS = frozenset({98, 198})
