"""Cutter-location data whose zero stands elsewhere: refused with the shift that its passes show, wherever they run."""

import re

import pytest
from cl_cases import correct, whole, zigzag
from nc_cases import corrections, pocket

from floorfit.errors import InputError
from floorfit.part.model import Part

#: Three pockets with 10 mm ribs, and passes of a cutter of 10 mm over the whole of each.
PART = Part(
    "three and ribs",
    ((0.0, 0.0), (340.0, 0.0), (340.0, 100.0), (0.0, 100.0)),
    tuple(pocket(name, x, 10, x + w, 90) for name, x, w in (("A", 10, 100), ("B", 120, 90), ("C", 220, 110))),
)
GIVEN = corrections(part=PART, A=0.1, B=0.2, C=0.1)
TEXT = whole(*(zigzag(name, 10, part=PART) for name in "ABC"))


def shifted(x: float, y: float) -> str:
    return TEXT.replace("UNITS/MM\n", f"UNITS/MM\nTRANS/{x},{y},0\n")


def test_a_file_in_the_part_frame_is_corrected():
    assert "2.1000" in correct(TEXT, GIVEN, PART)


@pytest.mark.parametrize(("x", "y"), [(3.0, 0.0), (0.0, -4.0), (12.0, 0.0)])
def test_a_shifted_file_is_refused_with_the_shift(x: float, y: float):
    """3 mm beside, the cutter runs 3 mm into one wall and leaves 3 mm at the other."""
    with pytest.raises(InputError) as refusal:
        correct(shifted(x, y), GIVEN, PART)
    (finding,) = refusal.value.findings
    assert finding.code == "shifted"
    seen = re.search(r"moved by X (\S+) and Y (\S+) mm", finding.text)
    assert [float(seen[1]), float(seen[2])] == pytest.approx([-x, -y], abs=0.01)
    assert "--frame" in finding.text


def test_a_file_of_another_part_is_refused_as_such():
    """Three floors of the one run over 220 mm of metal between two short floors of the other."""
    short = Part("two", PART.outline, (pocket("A", 10, 10, 60, 90), pocket("B", 280, 10, 330, 90)))
    with pytest.raises(InputError, match="metal that is no floor"):
        correct(TEXT, corrections(part=short, A=0.1, B=0.2), short)
