"""Write the sample parts again: ``python sample_parts/make.py [FOLDER]``, the same bytes every time.

The parts are invented, and so are their readings. The warp is plate bending under released residual stress
(``plate_physics.py``), never a spline.
"""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from lofted import SEED as LOFTED_SEED
from lofted import lofted_rib
from random_plates import Layout, Plate, build_part, even_layout, floor_truth, warp_plate
from random_readings import Taken, take_readings

from floorfit.part.model import Part
from floorfit.part.part_file import part_to_document
from floorfit.planning.path import order_there_and_back
from floorfit.units import MM_PER_UNIT

FRAME_SEED = 48
RIB_SEED = 45

#: Invented, like all the rest.
FACTS = (
    "# serial: INVENTED-1", "# operator: invented", "# gauge: invented", "# gauge_due: 2031-12-31",
    "# clamping: 1", "# side: top", "# read_at: 2031-05-17",
)  # fmt: skip

#: Column by column, three cells a column.
FRAME_KINDS = (
    *("rectangle", "island", "rectangle"),
    *("triangles", "rectangle", "step"),
    *("rectangle", "lowered", "lowered"),
    *("slope", "rectangle", "trapezoids"),
    *("rectangle", "island", "rectangle"),
)


def frame() -> Plate:
    """A frame of 1200 × 500 mm, 18 floors, cut true on a plate that had already warped."""
    rng = np.random.default_rng(FRAME_SEED)
    layout = even_layout(1200.0, 500.0, 5, 3, rib=6.0, flange=20.0)
    part = build_part(
        "equipment bay frame (invented)", layout, FRAME_KINDS, rng, tolerance=0.1, stock=0.5, webs=(2.0, 2.0, 2.5, 3.0)
    )
    return warp_plate(part, layout, rng, warp_range=0.27, dish=0.004)


def frame_readings(plate: Plate) -> Taken:
    """Eight readings a floor, three in a hundred bad; the floors were cut true, and their Z measured to 0.002 mm."""
    taken = take_readings(plate, FRAME_SEED + 1, 8, noise=0.010, bad=0.03, measured_z=False)
    r = taken.readings
    rough = [float(plate.part.pocket(one).rough_z(x, y)) for one, x, y in zip(r.pocket, r.x, r.y, strict=True)]
    z = np.array(rough) + np.random.default_rng(FRAME_SEED + 2).normal(0.0, 0.002, len(r))
    return replace(taken, readings=replace(r, z=np.round(z, 3)))


def rib() -> Plate:
    """A rib of 160 × 20 in, 70 floors, warped after roughing: floors and underside moved together."""
    rng = np.random.default_rng(RIB_SEED)
    inch = MM_PER_UNIT["in"]
    even = even_layout(160 * inch, 20 * inch, 33, 2, rib=0.25 * inch, flange=0.8 * inch)
    columns, rows = (np.round(edges / inch, 2) * inch for edges in (even.columns, even.rows))
    layout = Layout(160 * inch, 20 * inch, columns, rows, 0.25 * inch, height=1.75 * inch, blank=2.5 * inch)
    webs = tuple(t * inch for t in (0.060, 0.070, 0.080, 0.080, 0.100))
    part = build_part(
        "long rib (invented)",
        layout,
        rib_kinds(),
        rng,
        tolerance=0.004 * inch,
        stock=0.020 * inch,
        webs=webs,
        unit="in",
    )
    return warp_plate(part, layout, rng, warp_range=1.4, dish=0.004)


def rib_kinds() -> list[str]:
    """Two cells a column, 33 columns; four of the cells hold two floors."""
    kinds = ["rectangle"] * 66
    for cell, kind in {7: "triangles", 22: "trapezoids", 40: "step", 59: "triangles"}.items():
        kinds[cell] = kind
    for cell in (12, 31, 48):
        kinds[cell] = "island"
    kinds[17] = kinds[54] = "slope"
    return kinds


def rib_readings(plate: Plate) -> Taken:
    """Seven readings a floor, two in a hundred bad; the Z of the roughed floor was measured at each."""
    return take_readings(
        plate, RIB_SEED + 1, 7, noise=0.010, bad=0.02, measured_z=True, resolution=0.0001 * MM_PER_UNIT["in"]
    )


def lofted_readings(plate: Plate) -> Taken:
    """Seven readings a floor along its normal, two in a hundred bad; the Z of the roughed floor was measured."""
    return take_readings(plate, LOFTED_SEED + 1, 7, noise=0.010, bad=0.02, measured_z=True)


def there_and_back(taken: Taken) -> Taken:
    """In the order in which `floorfit plan` would have the places read."""
    r = taken.readings
    rows = order_there_and_back(np.column_stack([r.x, r.y]), r.pocket)
    columns = {name: getattr(r, name)[rows] for name in ("x", "y", "thickness", "z", "pocket")}
    return Taken(replace(r, **columns), taken.fault[rows], taken.warp[rows])


def shaped_text(part: Part) -> str:
    """Part file, floorfit-part/2: a line for each pocket."""
    document = part_to_document(part)
    pockets = [json.dumps(pocket, separators=(",", ":")) for pocket in document.pop("pockets")]
    lines = [f"  {json.dumps(key)}: {json.dumps(value)}," for key, value in document.items()]
    return "\n".join(["{", *lines, '  "pockets": [', ",\n".join("    " + one for one in pockets), "  ]", "}", ""])


def part_text(part: Part) -> str:
    """Part file, floorfit-part/1, or /2 where floors are curved."""
    if any(pocket.floor for pocket in part.pockets):
        return shaped_text(part)
    scale = MM_PER_UNIT[part.units]

    def out(value: float) -> float:
        return round(value / scale, 6) + 0.0

    def ring(points: tuple[tuple[float, float], ...]) -> list[list[float]]:
        return [[out(x), out(y)] for x, y in points]

    first = part.pockets[0]
    lower, upper = first.tolerance.lower, first.tolerance.upper
    entries = []
    for pocket in part.pockets:
        entry = {"id": pocket.id, "boundary": ring(pocket.boundary), "islands": [ring(i) for i in pocket.islands]}
        entry |= {
            "floor_z": out(pocket.floor_z),
            "slope": list(pocket.slope),
            "corner_radius": out(pocket.corner_radius),
        }
        if pocket.underside_z:
            entry["underside_z"] = out(pocket.underside_z)
        entries.append("    " + json.dumps(entry))
    head = {
        "format": "floorfit-part/1",
        "name": part.name,
        "units": part.units,
        "outline": ring(part.outline),
        "underside_z": 0.0,
        "defaults": {"web_tolerance": [out(lower or 0.0), out(upper or 0.0)], "finish_stock": out(first.finish_stock)},
    }
    lines = [f"  {json.dumps(key)}: {json.dumps(value)}," for key, value in head.items()]
    return "\n".join(["{", *lines, '  "pockets": [', ",\n".join(entries), "  ]", "}", ""])


def frame_csv(taken: Taken) -> str:
    """Readings in mm, comma separated."""
    r = taken.readings
    rows = [
        f"{label},{x:.1f},{y:.1f},{z:.3f},{'' if np.isnan(t) else f'{t:.3f}'}"
        for label, x, y, z, t in zip(r.pocket, r.x, r.y, r.z, r.thickness, strict=True)
    ]
    comment = "# Invented readings of an invented part, made by sample_parts/make.py. Gauge noise 0.010 mm."
    return "\n".join([comment, *FACTS, "pocket,x_mm,y_mm,z_mm,thickness_mm", *rows, ""])


def rib_csv(taken: Taken) -> str:
    """Readings in inches, semicolon separated with decimal comma, another order of columns."""
    r = taken.readings
    x, y, t, z = (values / MM_PER_UNIT["in"] for values in (r.x, r.y, r.thickness, r.z))
    rows = [
        f"{a:.4f};{b:.4f};{c:.4f};{'---' if np.isnan(d) else f'{d:.4f}'};{label}".replace(".", ",")
        for a, b, c, d, label in zip(x, y, z, t, r.pocket, strict=True)
    ]
    comment = "# Invented readings of an invented part, made by sample_parts/make.py. Gauge noise 0.0004 in."
    return "\n".join([comment, *FACTS, "x_in;y_in;z_in;thickness_in;pocket", *rows, ""])


def truth_text(plate: Plate, taken: Taken, seed: int) -> str:
    """What a perfect gauge would know, in mm whatever the part's unit."""
    floors = []
    for pocket in plate.part.pockets:
        truth = floor_truth(plate, pocket)
        floors.append(
            {
                "pocket": pocket.id,
                "warp_min": round(truth.warp_min, 6),
                "warp_max": round(truth.warp_max, 6),
                "best_shift": round(truth.best_shift, 6),
            }
        )
    readings = [
        {"row": k + 1, "warp": round(float(w), 6), "fault": str(fault)}
        for k, (w, fault) in enumerate(zip(taken.warp, taken.fault, strict=True))
    ]
    head = {"what": "truth behind invented readings", "units": "mm", "seed": seed, "stress_mpa": round(plate.stress, 4)}
    lines = [f"  {json.dumps(key)}: {json.dumps(value)}," for key, value in head.items()]
    return "\n".join(["{", *lines, _rows("pockets", floors) + ",", _rows("readings", readings), "}", ""])


def _rows(name: str, entries: list[dict[str, object]]) -> str:
    body = ",\n".join("    " + json.dumps(entry) for entry in entries)
    return f'  "{name}": [\n{body}\n  ]'


def write(folder: Path) -> None:
    """Write the parts into ``folder``."""
    jobs = (
        ("bay_frame", frame, frame_readings, frame_csv, FRAME_SEED),
        ("long_rib", rib, rib_readings, rib_csv, RIB_SEED),
        ("lofted_rib", lofted_rib, lofted_readings, frame_csv, LOFTED_SEED),
    )
    for name, make, take, csv, seed in jobs:
        plate = make()
        taken = there_and_back(take(plate))
        (folder / name).mkdir(parents=True, exist_ok=True)
        files = {
            "part.json": part_text(plate.part),
            "readings.csv": csv(taken),
            "truth.json": truth_text(plate, taken, seed),
        }
        for file, text in files.items():
            (folder / name / file).write_bytes(text.encode("utf-8"))


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent)
