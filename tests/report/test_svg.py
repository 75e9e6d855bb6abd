import io
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import record_factory
from PIL import Image

from floorfit.report.plan_view import plan_of
from floorfit.report.svg import plan_svg, png_bytes, pocket_svg

SVG = "{http://www.w3.org/2000/svg}"


def test_png_reads_back_with_an_independent_reader() -> None:
    colours = np.random.default_rng(3).integers(0, 256, (7, 11, 3), dtype=np.uint8)
    assert np.array_equal(np.asarray(Image.open(io.BytesIO(png_bytes(colours)))), colours)


@pytest.mark.parametrize("make", [record_factory.frame, record_factory.odd_names, record_factory.no_surface])
def test_drawings_are_well_formed(make) -> None:
    record = make()
    plan = plan_of(record)
    rows = np.arange(len(record.readings.used))
    for floor in plan.floors:
        ET.fromstring(str(pocket_svg(record, floor, 0.2, rows)))
    names = [text.text or "" for text in ET.fromstring(str(plan_svg(record, plan, 0.2))).iter(f"{SVG}text")]
    assert len(names) == len(plan.floors)


def test_pocket_keeps_its_form() -> None:
    record = record_factory.frame()
    floor = plan_of(record).floors[0]
    root = ET.fromstring(str(pocket_svg(record, floor, 0.2, np.array([], dtype=int))))
    outline = [path.get("d", "") for path in root.iter(f"{SVG}path")][-2]
    points = np.array([[float(v) for v in p.split()] for p in outline.strip("MZ").split("L")])
    width, height = np.ptp(points, axis=0)
    x0, y0, x1, y1 = floor.bounds
    assert width / height == pytest.approx((x1 - x0) / (y1 - y0), rel=0.01)  # coordinates have one decimal


def test_readings_differ_by_shape() -> None:
    record = record_factory.frame()
    floor = plan_of(record).floors[0]
    used = [k for k, u in enumerate(record.readings.used) if u][:3]
    aside = [k for k, u in enumerate(record.readings.used) if not u][:2]
    root = ET.fromstring(str(pocket_svg(record, floor, 0.2, np.array(used + aside))))
    assert len(list(root.iter(f"{SVG}circle"))) == 3
