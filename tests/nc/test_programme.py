"""The corrected programme against an independent reader: the invariants that make it safe."""

from __future__ import annotations

import os

import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from nc_cases import PART, TOOLS, apply, below_header, check_heights, corrections, tilt
from nc_strategies import offsets, programs

from floorfit.errors import InputError
from floorfit.nc.programme import apply_offsets

# For developers. Each run takes the same few examples, and a failure is reported as found, not made small. To search
# wider, at random and with shrinking, say how many examples, and a seed to make the search repeatable:
#   FLOORFIT_NC_EXAMPLES=500 pytest tests/nc/test_programme.py -n 0 -k random --hypothesis-seed=1
WIDE = int(os.environ.get("FLOORFIT_NC_EXAMPLES", "0"))


def bounded(examples: int) -> settings:
    return settings(
        max_examples=WIDE or examples,
        deadline=None,
        derandomize=not WIDE,
        phases=(Phase.explicit, Phase.generate, *([Phase.shrink] if WIDE else [])),
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )


def corrected(text, wanted) -> bytes:
    """The corrected file; one that runs half its short way over a rib is refused as another part's, and no example."""
    try:
        return apply_offsets(PART, wanted, text.encode(), tools=TOOLS).data
    except InputError as refusal:
        assume({one.code for one in refusal.findings} != {"other-part"})
        raise


@bounded(30)
@given(programs(), offsets())
def test_random_programmes_keep_their_path_and_get_their_offsets(text, wanted):
    check_heights(text, below_header(corrected(text, wanted)), wanted)


@bounded(20)
@given(programs())
def test_offsets_of_zero_give_the_same_bytes(text):
    assert below_header(corrected(text, corrections())) == text


@bounded(8)
@given(programs(), offsets())
def test_the_same_input_gives_the_same_bytes(text, wanted):
    assert corrected(text, wanted) == corrected(text, wanted)


#: Found by wide searches: programme, offsets. Seed 21: a gain of -0.0046 at the end of a pass of 26 mm from beside the
#: floor is written straight, 0.0024 below nothing where the floor begins; the tolerance is 0.005.
KEPT = {
    "seed 21": (
        "g20g17g90g94g40\nt1m6\ng0x0.3937y0.3937z1.1811\ng0x3.1496y5.7087z0.3543\ng1z0.2362f200.\ny4.6831\nz1.1811\nm30\n",
        corrections(C=tilt("C", -0.0046, 0.0, -1e-06)),
    ),
}


@pytest.mark.parametrize("name", KEPT)
def test_what_wide_searches_found(name):
    text, wanted = KEPT[name]
    check_heights(text, apply(text, wanted), wanted)
