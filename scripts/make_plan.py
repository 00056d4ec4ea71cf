#!/usr/bin/env python3
"""Draws the plan of a fire pump's tank and a newer issue of it, the job that compares them, and the truth.

Usage: python3 -m pip install -r scripts/requirements.txt && python3 scripts/make_plan.py [FOLDER]

Writes to fixtures/plan unless another folder is named. The same versions of the packages write the same bytes.
Both issues show the tank with its air vessel and outlet from the side; the second one is drawn 3.4 % larger (the tank grew)
and its scan lies turned by 0.7 degrees. One dimension of the second issue is misread on purpose: 325 instead of 352.
`truth.json` also has the scale of the second plan by numpy.linalg.lstsq from the job's own marks without the misread
dimension, as an outside check of the fit.
"""

import json
import math
import sys
from pathlib import Path

import numpy as np

import demo_pixels as px
from demo_plan import Sheet
from demo_shapes import box, disc
from make_demo import save_palette

SEED = 1907
SCALE = 24
GROWTH = 1.034
MARK_SIGMA = 1.0
SIZE = (1000, 860)
HEIGHT = 620

# Full-size millimetres, x right, y up from the ground.
LANDMARKS = {
    "sill front": (0, 0),
    "sill rear": (520, 0),
    "tank front": (60, 80),
    "tank rear": (450, 80),
    "vessel front": (150, 620),
    "vessel rear": (430, 620),
    "outlet tip": (640, 470),
    "outlet keel": (640, 390),
    "door front": (180, 360),
    "door rear": (330, 140),
}
CHECK = {"outlet tip", "outlet keel"}
# Where a dimension is written: its ends, how it runs, and its name in the truth.
DIMENSIONS = [
    ("overall", (0, -80), (640, -80), "x"),
    ("sill", (0, -40), (520, -40), "x"),
    ("tank", (60, 40), (450, 40), "x"),
    ("vessel", (150, 660), (430, 660), "x"),
    ("height", (-90, 620), (-90, 0), "y"),
    ("outlet", (700, 390), (700, 0), "y"),
    ("tank height", (-30, 420), (-30, 80), "y"),
]
MISREAD = {"tank height": (352, 325)}


class Scan:
    """A scan: full-size millimetres times `growth` to pixels, turned."""

    def __init__(self, px_per_mm, angle_deg, top_left, growth):
        k, turned = px_per_mm * growth, px.turn(angle_deg)
        self.k, self.growth = px_per_mm, growth
        self.place = px.Affine(turned @ np.diag([k, -k]), top_left + turned @ [0, HEIGHT * k])


def tank():
    """Outlines in drawing order: sill, tank with its hoops and door, outlet, air vessel under its yoke."""
    parts = [box(0, 0, 520, 80), box(60, 80, 450, 420)]
    for z in (104, 376):
        parts += [box(54, z, 456, z + 26), *(disc(x, z + 13, 4, 12) for x in range(75, 450, 40))]
    parts += [
        box(180, 140, 330, 360),
        disc(308, 250, 8, 20),
        box(450, 402, 610, 458),
        box(610, 390, 640, 470),
        box(520, 394, 545, 466),
    ]
    arc = np.linspace(0, np.pi, 40)
    body = np.vstack(
        [
            [(400, 440), (400, 500)],
            np.column_stack([290 + 110 * np.cos(arc), 500 + 96 * np.sin(arc)])[1:-1],
            [(180, 500), (180, 440)],
        ]
    )
    parts += [box(164, 420, 416, 440), body, box(174, 486, 406, 500)]
    # The yoke over the vessel: two posts and the bearing bar.
    return [*parts, box(150, 420, 164, 620), box(416, 420, 430, 620), box(150, 596, 430, 620)]


def draw(scan, path):
    """Lines of 1.6 px on white paper."""
    sheet = Sheet(SIZE, scan.place, (244, 244, 244), (40, 40, 40))
    for outline in tank():
        sheet.part(outline, 1.6)
    sheet.dashed([(290, 400), (290, 640)])
    for _, start, end, _ in DIMENSIONS:
        sheet.dimension(start, end, f"{math.dist(start, end) * scan.growth:.0f}", 13)
    save_palette(sheet.canvas.rgb, path, 16)


def marked(scan, point, noise):
    return [round(float(v), 1) for v in scan.place(point) + MARK_SIGMA * noise.standard_normal(2)]


def known(side, scan, noise, misread):
    entries = []
    for name, start, end, along in DIMENSIONS:
        length = math.dist(start, end) * scan.growth
        written = misread.get(name, (None, round(length, 1)))[1]
        entries.append(
            {
                "in": side,
                "from": marked(scan, start, noise),
                "to": marked(scan, end, noise),
                "along": along,
                "full_size": f"{written:g} mm",
            }
        )
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
    first = Scan(1.05, 0.0, (150.5, 80.5), 1.0)
    second = Scan(0.98, 0.7, (166.5, 84.5), GROWTH)
    draw(first, folder / "first-issue.png")
    draw(second, folder / "second-issue.png")
    in_second = known("reference", second, noise, MISREAD)
    job = {
        "title": "Tank of a fire pump, two issues of its plan",
        "scale": f"1:{SCALE}",
        "print": {"pixel_mm": 0.05, "layer_mm": 0.03, "viewing_distance_mm": 300},
        "views": [view(first, second, in_second, noise)],
    }
    (folder / "tank.json").write_text(json.dumps(job, indent=1) + "\n")
    (folder / "truth.json").write_text(json.dumps(truth(first, second, in_second), indent=1) + "\n")


def view(first, second, in_second, noise):
    side = {"kind": "plan", "mark_sigma_px": MARK_SIGMA}
    provenance = {"source": "drawing office, second issue", "variant": "second order", "rights": "own drawing"}
    landmarks = []
    for name, at in LANDMARKS.items():
        clicks = {"render": marked(first, at, noise), "reference": marked(second, at, noise)}
        landmarks.append({"name": name, **clicks, "use": "check" if name in CHECK else "datum"})
    outline = [first_corner(first, p) for p in [(440, 480), (650, 480), (650, 380), (440, 380)]]
    return {
        "name": "side",
        "render": {"image": "first-issue.png", **side},
        "reference": {"image": "second-issue.png", **provenance, **side},
        "landmarks": landmarks,
        "known": known("render", first, noise, {}) + in_second,
        "spans": [
            {"name": "overall", "from": "sill front", "to": "outlet tip"},
            {"name": "sill", "from": "sill front", "to": "sill rear"},
        ],
        "regions": [{"name": "outlet", "outline": outline, "landmarks": ["outlet tip", "outlet keel"]}],
    }


def truth(first, second, in_second):
    misread = [i for i, d in enumerate(DIMENSIONS) if d[0] in MISREAD]
    overall = math.dist(LANDMARKS["sill front"], LANDMARKS["outlet tip"])
    return {
        "larger_percent": 100 * (GROWTH - 1),
        "turned_deg": 0.7,
        "first": {"px_per_model_mm": first.k * SCALE, "angle_deg": 0.0},
        "second": {"px_per_full_size_mm": second.k, "angle_deg": 0.7, "stretch_percent": 0.0},
        "misread": {"known": len(DIMENSIONS) + misread[0], "right_mm": 340 * GROWTH},
        "spans": {"overall": {"was_full_size_mm": overall, "becomes_full_size_mm": overall * GROWTH}},
        "scale_by_numpy": scale_by_numpy(in_second, misread),
    }


def first_corner(scan, point):
    return [round(float(v), 1) for v in scan.place(point)]


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent.parent / "fixtures" / "plan")
