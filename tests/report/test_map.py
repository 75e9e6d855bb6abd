import copy
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import record_factory
from drawn_text import overlapping, overlaps, texts, with_gid
from PIL import Image

from floorfit.report import map as sheets
from floorfit.report.map import DPI, write_maps
from floorfit.report.marks import reading_marks
from floorfit.report.plan_view import plan_of

MAKERS = [record_factory.frame, record_factory.inch_part, record_factory.long_part, record_factory.tall_part,
          record_factory.odd_names, record_factory.no_surface]  # fmt: skip
NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")


def map_figure(record):
    return sheets.map_figure(record, plan_of(record))


@cache
def figure_of(make):
    """The map of an invented record, drawn once for all who only read it."""
    return map_figure(make())


@cache
def texts_of(make):
    """Its texts and their boxes."""
    return texts(figure_of(make))


@pytest.mark.parametrize("make", MAKERS)
def test_no_text_covers_another(make) -> None:
    assert overlapping(texts_of(make)) == []


@pytest.mark.parametrize("make", MAKERS)
def test_text_stays_on_the_paper(make) -> None:
    figure = figure_of(make)
    width, height = figure.bbox.width, figure.bbox.height
    for text, box in texts_of(make):
        assert box.x0 >= 0 and box.y0 >= 0 and box.x1 <= width and box.y1 <= height, text.get_text()


def test_text_is_large_enough_to_read() -> None:
    # Lettering of 1.8 mm is the smallest nominal size of ISO 3098-1; small letters of type are about 0.55 of its size,
    # capitals 0.73: 6 points give capitals of 1.5 mm. Smaller is refused here (common practice, no source).
    assert min(text.get_fontsize() for text, _ in texts_of(record_factory.long_part)) >= 6.0


@pytest.mark.parametrize("make, scale", [(record_factory.frame, 1), (record_factory.inch_part, 1 / 25.4)])
def test_offsets_on_the_map_are_those_of_the_record(make, scale) -> None:
    record, figure = make(), figure_of(make)
    names, numbers = with_gid(figure, "pocket"), with_gid(figure, "number")
    shown = dict(zip(names, numbers, strict=True))
    assert set(shown) == {decision.pocket for decision in record.decisions}
    for decision in record.decisions:
        text = shown[decision.pocket]
        if decision.offset_mm is None:
            assert text == "hold"
            continue
        assert text.startswith(decision.action)  # the action is named before any number
        if decision.action == "follow":
            continue
        number = NUMBER.search(text).group()
        digits = len(number.partition(".")[2])
        # Half of the last digit printed, and the rounding of one product.
        assert abs(float(number) - decision.offset_mm * scale) <= 0.5 * 10**-digits * (1 + 1e-9)


def test_verdicts_are_marked() -> None:
    record, figure = record_factory.frame(), figure_of(record_factory.frame)
    shown = dict(zip(with_gid(figure, "pocket"), with_gid(figure, "number"), strict=True))
    marks = {"conform": "", "undecided": "?", "nonconform": "!"}
    for decision in record.decisions:
        if decision.action != "hold":
            assert shown[decision.pocket].lstrip("shiftolw+-0123456789. ") == marks[decision.verdict]


def test_every_pocket_of_the_long_part_is_named() -> None:
    record = record_factory.long_part()
    assert sorted(with_gid(figure_of(record_factory.long_part), "pocket")) == sorted(d.pocket for d in record.decisions)


@pytest.mark.parametrize("make", MAKERS)
def test_plate_is_drawn_to_scale(make) -> None:
    figure = figure_of(make)
    plates = [axes for axes in figure.axes if any(line.get_marker() == "x" for line in axes.lines) and axes.axison]
    assert plates
    scales = []
    for axes in plates:
        box = axes.get_window_extent()
        scales += [box.width / np.ptp(axes.get_xlim()), box.height / np.ptp(axes.get_ylim())]
    assert scales == pytest.approx([scales[0]] * len(scales), rel=1e-9)  # rounding only


def test_contour_values_belong_to_the_warp() -> None:
    record = record_factory.frame()
    values = [float(text) for text in with_gid(figure_of(record_factory.frame), "contour")]
    warp = np.array(record.map.warp_mm, dtype=float)
    assert values and min(values) >= warp.min() and max(values) <= warp.max()
    assert 0 in values


def test_title_block_says_what_was_left_out() -> None:
    record = record_factory.frame()
    said = " ".join(text.get_text() for text, _ in texts_of(record_factory.frame))
    aside = sum(not used for used in record.readings.used)
    counts = [int(n) for n in re.findall(r"(\d+) set aside", said)]
    assert sum(counts) == aside
    for words in (
        record.job,
        record.created,
        "readings",
        f"{len(record.readings.used)} given",
        "mm",
        "1 of 18 pockets",
    ):
        assert words in said


def test_held_pockets_are_hatched() -> None:
    hatched = [patch for axes in figure_of(record_factory.frame).axes for patch in axes.patches if patch.get_hatch()]
    assert hatched


def test_without_a_surface_the_map_says_so() -> None:
    said = [text.get_text() for text, _ in texts_of(record_factory.no_surface)]
    assert any("No surface could be fitted" in text for text in said)


def test_files_are_the_same_twice_and_the_pdf_has_three_pages(tmp_path: Path) -> None:
    record = record_factory.inch_part()
    written = []
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        write_maps(record, plan_of(record), tmp_path / name)
        files = sorted(path.name for path in (tmp_path / name).iterdir())
        assert files == ["deviation_map.pdf", "deviation_map.png"]
        written.append([(tmp_path / name / file).read_bytes() for file in files])
    assert written[0] == written[1]
    assert len(re.findall(rb"/Type /Page\b(?!s)", written[0][0])) == 3
    with Image.open(tmp_path / "a" / "deviation_map.png") as picture:
        size = picture.size
    # A3 landscape (ISO 216): 420 by 297 mm.
    assert size == pytest.approx((420 / 25.4 * DPI, 297 / 25.4 * DPI), abs=1)


def test_drawing_leaves_no_global_state() -> None:
    import subprocess
    import sys

    code = (
        "import sys; sys.path.insert(0, 'tests'); import record_factory; from floorfit.report import map as m;"
        "from floorfit.report.plan_view import plan_of; r = record_factory.inch_part();"
        "m.map_figure(r, plan_of(r)); print('matplotlib.pyplot' in sys.modules)"
    )
    root = Path(record_factory.__file__).parents[1]
    run = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"


@pytest.mark.parametrize("warp", [0.0, 0.0123])
def test_flat_plate_and_no_readings_are_drawn(warp) -> None:
    record = record_factory.inch_part()
    grid = replace(record.map, warp_mm=np.full((len(record.map.y_mm), len(record.map.x_mm)), warp))
    none = type(record.readings)(**{name: [] for name in record.readings.model_dump()})
    figure = map_figure(record.model_copy(update={"map": grid, "readings": none}))
    assert overlaps(figure) == []
    assert {float(text) for text in with_gid(figure, "contour")} <= {0.0}


def test_part_of_one_round_pocket_far_from_the_origin() -> None:
    record = record_factory.frame()
    turn = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    ring = np.column_stack([5000 + 40 * np.cos(turn), -3000 + 40 * np.sin(turn)]).tolist()
    outline = [[4950, -3050], [5050, -3050], [5050, -2950], [4950, -2950]]
    part = {**record.part, "outline": outline, "pockets": [{**record.part["pockets"][0], "boundary": ring}]}
    one = record.model_copy(update={"part": part, "decisions": record.decisions[:1], "map": None})
    assert with_gid(map_figure(one), "pocket") == ["P01"]


def test_tilt_shows_its_slope_and_follow_its_range() -> None:
    said = with_gid(figure_of(record_factory.frame), "more")
    # Slope of the third floor, per hundred: 100 times the hypotenuse of its two slopes.
    assert any(text == f"{100 * float(np.hypot(1.25e-4, -3.1e-5)):.3f}/100" for text in said)
    assert "+0.010…+0.050" in said  # least and greatest of the grid of the fifth floor


def test_a_million_readings_leave_the_map_readable() -> None:
    record = record_factory.frame()
    rng = np.random.default_rng(1)
    n = 200_000
    used = (rng.random(n) > 0.03).tolist()
    many = {**record.readings.model_dump(), "x_mm": (1200 * rng.random(n)).tolist(),
            "y_mm": (500 * rng.random(n)).tolist(), "used": used}  # fmt: skip
    plan = plan_of(record)
    marks = reading_marks(type(record.readings).model_construct(**many), plan)
    assert marks.counts.sum() == sum(used)  # every reading is in one square
    assert len(marks.used) < 5_000 and len(marks.aside) < 5_000


def test_up_to_five_thousand_readings_each_has_its_mark() -> None:
    record = record_factory.frame()
    marks = reading_marks(record.readings, plan_of(record))
    assert not marks.is_dense
    assert len(marks.used) + len(marks.aside) == len(record.readings.used)


def curved_part():
    """The frame with its first floor a saddle of 12 mm, as a part file would say it."""
    record = record_factory.frame()
    part = copy.deepcopy(record.part)
    pocket = part["pockets"][0]
    x, y = np.array(pocket["boundary"]).T
    lines = np.meshgrid(np.linspace(x.min(), x.max(), 9), np.linspace(y.min(), y.max(), 9))
    u, v = (2 * (line - line.mean()) / np.ptp(line) for line in lines)
    step = [float(np.ptp(x) / 8), float(np.ptp(y) / 8)]
    pocket["floor"] = [{"grid": {"origin": [float(x.min()), float(y.min())], "step": step, "z": (6 * u * v).tolist()}}]
    for key in ("floor_z", "slope", "underside_z"):
        pocket.pop(key, None)
    pocket |= {"web_constant": True, "web": 2.0}
    part["format"] = "floorfit-part/2"
    return record.model_copy(update={"part": part}), (x.min(), y.min(), x.max(), y.max())


def test_heights_of_a_curved_floor_are_light_lines_without_numbers_within_it() -> None:
    record, box = curved_part()
    figure, plain = map_figure(record), figure_of(record_factory.frame)
    lines = [one for axes in figure.axes for one in axes.collections if one.get_gid() == "nominal"]
    assert lines and not [one for axes in plain.axes for one in axes.collections if one.get_gid() == "nominal"]
    for one in lines:
        points = np.concatenate([path.vertices for path in one.get_paths() if len(path.vertices)])
        assert (points.min(axis=0) >= np.array(box[:2]) - 1e-6).all()
        assert (points.max(axis=0) <= np.array(box[2:]) + 1e-6).all()
        # Lighter than a contour of the warp, which is dark, and no thicker than 0.8 points (0.28 mm).
        assert all(max(colour[:3]) >= 0.4 for colour in one.get_edgecolor()) and max(one.get_linewidths()) <= 0.8
    assert with_gid(figure, "contour") == with_gid(plain, "contour")
    assert any("no warp" in text.get_text() for text, _ in texts(figure))
    assert overlaps(figure) == []
