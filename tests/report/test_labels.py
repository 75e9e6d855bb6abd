import pytest

from floorfit.report.labels import Placer, box_at, fitted, printable, text_size


def test_text_grows_with_size() -> None:
    small, large = text_size("P101", 6), text_size("P101", 12)
    assert large == pytest.approx((2 * small[0], 2 * small[1]))


def test_width_agrees_with_the_drawn_text() -> None:
    # Independent of the metrics: the outline of the glyphs as matplotlib's own path, in points.
    from matplotlib.textpath import TextPath

    extents = TextPath((0, 0), "Pocket 17", size=10).get_extents()
    assert text_size("Pocket 17", 10)[0] == pytest.approx(extents.width * 25.4 / 72, rel=0.06)  # side bearings


def test_signs_without_a_glyph_become_boxes() -> None:
    assert printable("ポケット") == "□□□□"
    assert printable("Größe µm ±") == "Größe µm ±"


def test_placer_gives_no_two_overlapping_boxes() -> None:
    placer = Placer((0, 0, 20, 20))
    boxes = [placer.first_free([(x, 10) for x in range(20)], (4, 4)) for _ in range(5)]
    found = [box for box in boxes if box]
    assert found and None in boxes  # twenty millimetres hold four boxes of 4.8
    for k, a in enumerate(found):
        for b in found[:k]:
            assert a[2] <= b[0] or b[2] <= a[0]


def test_box_outside_the_area_is_not_free() -> None:
    assert not Placer((0, 0, 10, 10)).is_free(box_at((9.5, 5), (2, 2)))


def test_long_text_is_cut_to_the_room() -> None:
    text = fitted("x" * 200, 8, 40)
    assert text.endswith("…") and text_size(text, 8)[0] <= 40
    assert fitted("short", 8, 40) == "short"
