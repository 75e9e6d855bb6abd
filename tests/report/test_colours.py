import numpy as np
import pytest

from floorfit.report.colours import DIVERGING, SEQUENTIAL, colour_map, hex_scale, rgb

# sRGB to linear light and luminance: IEC 61966-2-1; lightness L*: CIE 15, 8.2.1.
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])

# Red-green colour blindness, full: Machado, Oliveira and Fernandes 2009, table 1 (from memory), on linear light.
DEUTERANOPIA = np.array(
    [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
)


def linear(colours: np.ndarray) -> np.ndarray:
    share = colours / 255.0
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def lightness(colours: np.ndarray) -> np.ndarray:
    return 116 * np.cbrt(linear(colours) @ LUMINANCE) - 16


@pytest.mark.parametrize("anchors", [DIVERGING, SEQUENTIAL])
def test_lightness_rises_all_the_way(anchors: tuple) -> None:
    steps = np.diff(lightness(rgb(anchors, np.linspace(0, 1, 33))))
    assert (steps > 0).all()


def test_lightness_spans_enough_for_grey_paper() -> None:
    # Forty units of L* are some twenty steps that an eye tells apart on paper (common practice, no source).
    ends = lightness(rgb(DIVERGING, [0.0, 1.0]))
    assert ends[1] - ends[0] > 40


def test_middle_is_neutral() -> None:
    middle = rgb(DIVERGING, 0.5).astype(int)
    assert np.ptp(middle) <= 8  # 3 % of full scale: grey to the eye (common practice, no source)


def test_ends_differ_for_red_green_blind_eyes() -> None:
    low, high = linear(rgb(DIVERGING, [0.0, 1.0])) @ DEUTERANOPIA.T
    assert low[2] > low[0] and high[0] > high[2]  # blue stays blue, yellow stays yellow


def test_black_text_is_readable_on_every_colour() -> None:
    # WCAG 2.2, 1.4.3 and 1.4.11: contrast of 3 at least for large text and drawings; labels carry a light box too.
    share = linear(rgb(DIVERGING, np.linspace(0, 1, 33))) @ LUMINANCE
    ink = linear(np.array([26.0, 26.0, 26.0])) @ LUMINANCE
    assert ((share + 0.05) / (ink + 0.05)).min() > 2.5


def test_empty_is_white_and_ends_hold() -> None:
    colours = rgb(DIVERGING, [np.nan, -5.0, 9.0])
    assert colours[0].tolist() == [255, 255, 255]
    assert colours[1].tolist() == list(DIVERGING[0])
    assert colours[2].tolist() == list(DIVERGING[-1])


def test_map_and_page_use_the_same_anchors() -> None:
    from matplotlib.colors import to_rgb

    for place, name in hex_scale(DIVERGING):
        assert to_rgb(name) == pytest.approx(colour_map(DIVERGING, "t")(place)[:3], abs=1 / 128)  # 256 steps
