"""Write ``bay_frame/finished.csv``: readings of the finished webs, invented like the rest.

The floors are cut with the offsets that ``floorfit.correct`` gives on the sample's own readings.
The web is then nominal plus offset less the true warp at the same places.
Every web comes out 0.004 mm thicker than that, as a cutter that is pushed off leaves it, and the gauge scatters by
0.010 mm. ``python sample_parts/finished.py`` writes it again.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

import floorfit
from floorfit.part.assign import assign_floors

SEED = 49
NOISE, PUSHED = 0.010, 0.004
HERE = Path(__file__).resolve().parent


def finished_text(folder: Path) -> str:
    part = floorfit.read_part(folder / "part.json")
    readings = floorfit.read_readings(folder / "readings.csv")
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    warp = np.array([row["warp"] for row in truth["readings"]])
    corrections = [one.correction for one in floorfit.correct(part, readings).decisions]
    noise = NOISE * np.random.default_rng(SEED).standard_normal(len(readings))
    lines = ["# Invented readings of an invented part, made by sample_parts/finished.py. Gauge noise 0.010 mm."]
    lines += ["# serial: INVENTED-1", "# side: top", "# clamping: 1", "# read_at: 2031-05-18"]
    lines.append("pocket,x_mm,y_mm,thickness_mm")
    floors = assign_floors(part, readings.x, readings.y)
    for row, floor in enumerate(floors):
        pocket, x, y = part.pockets[floor], float(readings.x[row]), float(readings.y[row])
        web = float(pocket.nominal_web(x, y)) + float(corrections[floor].at(x, y)) - warp[row]
        slope = (1 + pocket.slope[0] ** 2 + pocket.slope[1] ** 2) ** 0.5
        lines.append(f"{pocket.id},{x:.1f},{y:.1f},{(web + PUSHED) / slope + noise[row]:.3f}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    target = HERE / "bay_frame" / "finished.csv"
    target.write_text(finished_text(target.parent), encoding="utf-8")
