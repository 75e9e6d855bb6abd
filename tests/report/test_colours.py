import numpy as np
import pytest
from colorspacious import cspace_convert

from floorfit.report.colours import AMOUNT, HATCHES, WEB, colour_map, rgb, standing

# sRGB to linear light and luminance: IEC 61966-2-1; lightness L*: CIE 15, 8.2.1.
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


def linear(colours: np.ndarray) -> np.ndarray:
    share = colours / 255.0
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def lightness(colours: np.ndarray) -> np.ndarray:
    return 116 * np.cbrt(linear(colours) @ LUMINANCE) - 16


@pytest.mark.parametrize("anchors", [WEB, AMOUNT])
def test_lightness_goes_one_way(anchors: tuple) -> None:
    steps = np.diff(lightness(rgb(anchors, np.linspace(0, 1, 33))))
    assert (steps > 0).all() or (steps < 0).all()


EYES = ["protanomaly", "deuteranomaly", "tritanomaly", "grey"]


def seen(colours: np.ndarray, eyes: str) -> np.ndarray:
    """Colours as CAM02-UCS coordinates of what such eyes see.

    Full dichromacy after Machado, Oliveira and Fernandes 2009, as the general-purpose library colorspacious has it.
    """
    if eyes == "grey":
        grey = np.clip(lightness(colours), 0, 100)
        return np.column_stack([grey, 0 * grey, 0 * grey])
    space = {"name": "sRGB1+CVD", "cvd_type": eyes, "severity": 100}
    light = np.clip(cspace_convert(colours / 255.0, space, "sRGB1"), 0, 1)
    return cspace_convert(light, "sRGB1", "CAM02-UCS")


@pytest.mark.parametrize("eyes", EYES)
@pytest.mark.parametrize("anchors", [WEB, AMOUNT])
def test_neighbours_of_seven_classes_differ_to_every_eye(anchors: tuple, eyes: str) -> None:
    places = seen(rgb(anchors, np.linspace(0, 1, 7)), eyes)
    # A difference of 2.3 is just noticeable (Mahy, Van Eycken and Oosterlinck 1994); 1.3 times that is asked for.
    assert np.linalg.norm(np.diff(places, axis=0), axis=1).min() > 3.0


@pytest.mark.parametrize("eyes", EYES[:3])
def test_thin_and_thick_are_never_confused(eyes: str) -> None:
    thick, thin = seen(rgb(WEB, [0.15, 0.85]), eyes)
    assert np.linalg.norm(thick - thin) > 30


def test_amount_has_one_hue() -> None:
    hues = cspace_convert(rgb(AMOUNT, np.linspace(0.2, 1, 9)) / 255.0, "sRGB1", "JCh")[:, 2]
    assert np.ptp(hues) < 25  # degrees of a circle of 360; seven families of hue lie some 50 apart


def test_standing_of_floors_has_a_hatch_of_its_own() -> None:
    pairs = [("hold", "undecided"), ("shift", "undecided"), ("tilt", "nonconform")]
    assert len({HATCHES[standing(*pair)] for pair in pairs}) == 3
    assert standing("follow", "conform") == ""


def test_lightness_spans_enough_for_grey_paper() -> None:
    # Forty units of L* are some twenty steps that an eye tells apart on paper (common practice, no source).
    ends = lightness(rgb(WEB, [0.0, 1.0]))
    assert ends[1] - ends[0] > 40


def test_middle_is_neutral() -> None:
    middle = rgb(WEB, 0.5).astype(int)
    assert np.ptp(middle) <= 8  # 3 % of full scale: grey to the eye (common practice, no source)


def test_black_text_is_readable_on_every_colour() -> None:
    # WCAG 2.2, 1.4.3 and 1.4.11: contrast of 3 at least for large text and drawings; labels carry a light box too.
    share = linear(rgb(WEB, np.linspace(0, 1, 33))) @ LUMINANCE
    ink = linear(np.array([26.0, 26.0, 26.0])) @ LUMINANCE
    assert ((share + 0.05) / (ink + 0.05)).min() > 2.5


def test_empty_is_white_and_ends_hold() -> None:
    colours = rgb(WEB, [np.nan, -5.0, 9.0])
    assert colours[0].tolist() == [255, 255, 255]
    assert colours[1].tolist() == list(WEB[0])
    assert colours[2].tolist() == list(WEB[-1])


def test_colour_map_has_the_same_anchors() -> None:
    places = np.linspace(0, 1, len(WEB))
    assert np.array(colour_map(WEB, "t")(places))[:, :3] == pytest.approx(np.array(WEB) / 255, abs=1 / 128)  # 256 steps
