"""The kinds of bad reading: a short code, and words that say what to do about it.

Nothing is ever repaired: a reading is used as it came or set aside, and the words suggest the cause.
"""

from __future__ import annotations

__all__ = ["KINDS", "reason_of"]

#: Code and words; the places in braces are filled in by the step that found it.
KINDS: dict[str, str] = {
    "blank": "the gauge gave nothing ({thickness}): couplant lost. Read the place again",
    "beyond-web": "{thickness} mm read, about {expected} mm can be there: no web is like that. Read the place again",
    "double-echo": "{thickness} mm is twice the {expected} mm expected: the gauge took the second echo. Read again "
    "with a probe for thinner metal",
    "inch": "{what} looks like inches among millimetres (or the other way round): {hint}. Correct the row in the file",
    "swapped": "X and Y look exchanged: ({y}, {x}) lies on {other}. Correct the row in the file",
    "doubled-row": "the same row as line {line}. Remove one of the two",
    "wrong-label": "labelled {label}, but the place lies on {other}. Correct the label or the place",
    "off-floor": "the place lies on no floor: a rib, an island or outside the part. Read on the floor, or correct "
    "the place",
    "lost-place": "most readings of the file do not lie on the floor they belong to, and nobody knows where this one "
    "was taken. Correct the places in the file",
    "on-fillet": "the place lies in the radius between wall and floor. Read further from the wall",
    "near-wall": "{distance} mm from the wall, the probe needs {needed} mm. Read further from the wall",
    "beyond-floor": "Z {z} mm measured, the roughed floor is near {expected} mm. Probe the Z again",
    "repeats-disagree": "{thickness} mm, other readings of the place say {expected} mm. Read the place again",
    "outlier": "{thickness} mm read, the readings around it say {expected} mm. Read the place again",
}


def reason_of(code: str, **values: object) -> str:
    """Return ``"code: words"``.

    Parameters
    ----------
    code : str
        A key of `KINDS`.
    **values
        What its words need; numbers are shown with up to four decimals.

    Raises
    ------
    KeyError
        If the code or a value its words need is missing.
    """
    shown = {key: _shown(value) for key, value in values.items()}
    return f"{code}: {KINDS[code].format(**shown)}"


def _shown(value: object) -> str:
    if not isinstance(value, float):
        return str(value)
    return f"{value:.4g}" if abs(value) < 10 else f"{value:.3f}".rstrip("0").rstrip(".")
