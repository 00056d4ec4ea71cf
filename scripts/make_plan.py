#!/usr/bin/env python3
"""Draws the plan of a console of a survey airship and a newer issue of it, the job that compares them, and the truth.

Usage: python3 -m pip install -r scripts/requirements.txt && python3 scripts/make_plan.py [FOLDER]

Writes to fixtures/plan unless another folder is named. The same versions of the packages write the same bytes.
Both issues show the same console from the side; the second one is drawn 3.4 % larger (the console grew) and its scan lies
turned by 0.7 degrees. One dimension of the second issue is misread on purpose: 325 instead of 352.
`truth.json` also has the scale of the second plan by numpy.linalg.lstsq from the job's own marks without the misread
dimension, as an outside check of the fit.
"""
import json
import math
import sys
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

SEED = 1907
SCALE = 32
GROWTH = 1.034
MARK_SIGMA = 1.0
SIZE = (1000, 860)
N = 3

# Full-size millimetres, x right, y down, the origin at the top left of the plinth.
OUTLINE = [(0, 620), (0, 540), (60, 540), (60, 200), (150, 0), (430, 0), (430, 60), (640, 150), (640, 230), (450, 230),
           (450, 540), (520, 540), (520, 620)]
DETAILS = [
    [(60, 540), (450, 540)], [(60, 200), (450, 200)], [(150, 0), (150, 60)], [(150, 60), (430, 60)],
    [(450, 230), (450, 150), (640, 150)], [(180, 260), (330, 260), (330, 480), (180, 480), (180, 260)],
]
LANDMARKS = {
    "plinth front": (0, 620), "plinth rear": (520, 620), "column front": (60, 540), "column rear": (450, 540),
    "hood front": (150, 0), "hood rear": (430, 0), "shelf tip": (640, 150), "shelf keel": (640, 230),
    "panel front": (180, 260), "panel rear": (330, 480),
}
CHECK = {"shelf tip", "shelf keel"}
# Where a dimension is written: its ends, how it runs, and its name in the truth.
DIMENSIONS = [
    ("overall", (0, 700), (640, 700), "x"), ("plinth", (0, 660), (520, 660), "x"), ("column", (60, 580), (450, 580), "x"),
    ("hood", (150, -40), (430, -40), "x"), ("height", (-90, 0), (-90, 620), "y"), ("shelf", (700, 230), (700, 620), "y"),
    ("column height", (-30, 200), (-30, 540), "y"),
]
MISREAD = {"column height": (352, 325)}


class Sheet:
    """A scan: full-size millimetres times `growth` to pixels, turned."""

    def __init__(self, px_per_mm, angle_deg, origin, growth):
        self.k, self.angle, self.origin, self.growth = px_per_mm, math.radians(angle_deg), np.array(origin), growth

    def place(self, point):
        c, s = math.cos(self.angle), math.sin(self.angle)
        x, y = np.array(point, float) * self.growth * self.k
        return np.array([c * x - s * y, s * x + c * y]) + self.origin


def draw(sheet, path, levels):
    """Lines of 1.6 px, oversampled; a pixel's centre is its index plus a half."""
    picture = Image.new("L", (SIZE[0] * N, SIZE[1] * N), 244)
    pen = ImageDraw.Draw(picture)

    def line(points, width=1.6, tone=40):
        # Pillow has pixel centres on whole numbers.
        pen.line([tuple(sheet.place(p) * N - 0.5) for p in points], fill=tone, width=round(width * N), joint="curve")

    line([*OUTLINE, OUTLINE[0]])
    for detail in DETAILS:
        line(detail)
    for name, start, end, along in DIMENSIONS:
        line([start, end], 0.8, 90)
        tick = np.array((8, -8))
        for at in (start, end):
            line([np.array(at) - tick, np.array(at) + tick], 1.0, 60)
        across = np.array((0, 14) if along == "x" else (14, 0))
        for at in (start, end):
            line([np.array(at) - across, np.array(at) + across], 0.6, 120)
        middle = (np.array(start) + np.array(end)) / 2
        length = math.dist(start, end) * sheet.growth
        at = sheet.place(middle - (np.array((0, 14)) if along == "x" else np.array((20, 0)))) * N
        pen.text(tuple(at), f"{length:.0f}", fill=40, font_size=13 * N, anchor="mm")
    small = picture.resize(SIZE, Image.BOX)
    small.quantize(levels).save(path, optimize=True)


def marked(sheet, point, noise):
    return [round(float(v), 1) for v in sheet.place(point) + MARK_SIGMA * noise.standard_normal(2)]


def known(side, sheet, noise, misread):
    entries = []
    for name, start, end, along in DIMENSIONS:
        length = math.dist(start, end) * sheet.growth
        written = misread.get(name, (None, round(length, 1)))[1]
        entries.append({"in": side, "from": marked(sheet, start, noise), "to": marked(sheet, end, noise), "along": along,
                        "full_size": f"{written:g} mm"})
    return entries


def scale_by_numpy(entries, left_out):
    kept = [e for i, e in enumerate(entries) if i not in left_out]
    length = np.array([float(e["full_size"].split()[0]) for e in kept])
    pixels = np.array([math.dist(e["from"], e["to"]) for e in kept])
    (scale,), *_ = np.linalg.lstsq(length[:, None], pixels, rcond=None)
    return float(scale)


def main(folder):
    folder.mkdir(parents=True, exist_ok=True)
    noise = np.random.default_rng(SEED)
    first = Sheet(1.05, 0.0, (150.5, 80.5), 1.0)
    second = Sheet(0.98, 0.7, (166.5, 84.5), GROWTH)
    draw(first, folder / "first-issue.png", 16)
    draw(second, folder / "second-issue.png", 16)
    in_second = known("reference", second, noise, MISREAD)
    job = {
        "title": "Console of a survey airship, two issues of its plan",
        "scale": f"1:{SCALE}",
        "print": {"pixel_mm": 0.05, "layer_mm": 0.03, "viewing_distance_mm": 300},
        "views": [{
            "name": "side",
            "render": {"image": "first-issue.png", "kind": "plan", "mark_sigma_px": MARK_SIGMA},
            "reference": {"image": "second-issue.png", "kind": "plan", "source": "drawing office, second issue",
                          "variant": "second refit", "rights": "own drawing", "mark_sigma_px": MARK_SIGMA},
            "landmarks": [{"name": name, "render": marked(first, at, noise), "reference": marked(second, at, noise),
                           "use": "check" if name in CHECK else "datum"} for name, at in LANDMARKS.items()],
            "known": known("render", first, noise, {}) + in_second,
            "spans": [{"name": "overall", "from": "plinth front", "to": "shelf tip"},
                      {"name": "plinth", "from": "plinth front", "to": "plinth rear"}],
            "regions": [{"name": "shelf", "outline": [first_corner(first, p) for p in
                                                      [(440, 140), (650, 140), (650, 240), (440, 240)]],
                         "landmarks": ["shelf tip", "shelf keel"]}],
        }],
    }
    misread = [i for i, d in enumerate(DIMENSIONS) if d[0] in MISREAD]
    truth = {
        "larger_percent": 100 * (GROWTH - 1),
        "turned_deg": 0.7,
        "first": {"px_per_model_mm": first.k * SCALE, "angle_deg": 0.0},
        "second": {"px_per_full_size_mm": second.k, "angle_deg": 0.7, "stretch_percent": 0.0},
        "misread": {"known": len(DIMENSIONS) + misread[0], "right_mm": 340 * GROWTH},
        "spans": {"overall": {"was_full_size_mm": math.dist((0, 620), (640, 150)),
                              "becomes_full_size_mm": math.dist((0, 620), (640, 150)) * GROWTH}},
        "scale_by_numpy": scale_by_numpy(in_second, misread),
    }
    (folder / "console.json").write_text(json.dumps(job, indent=1) + "\n")
    (folder / "truth.json").write_text(json.dumps(truth, indent=1) + "\n")


def first_corner(sheet, point):
    return [round(float(v), 1) for v in sheet.place(point)]


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent.parent / "fixtures" / "plan")
