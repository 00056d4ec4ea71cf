#!/usr/bin/env python3
"""Makes the demo of cameras: the fire pump as a mesh, two photos of a pump that three of its parts are not like, marks, and the truth.

Usage: python3 -m pip install -r scripts/requirements.txt && python3 scripts/make_camera_demo.py [FOLDER]

Writes to fixtures/camera-demo unless another folder is named. The same versions of the packages write the same bytes.
The photos are taken from where CAMERAS says, which the job does not tell. demo_pump_mesh.py has the pump and its errors, demo_photo.py draws.
"""

import json
import sys
from pathlib import Path

import numpy as np

import demo_pump_mesh as pump
from demo_photo import Camera, Surface, photo

SEED = 1887
MARK_SIGMA = 0.8
SIZE = (1500, 1100)
CAMERAS = {
    "gate": Camera([1, 0, 37], 330, -58, 21, 1.2, 3250.0, (761, 538)),
    "market": Camera([1, 0, 36], 390, -96, 13, -0.7, 4050.0, (743, 561)),
}
COLOURS = {
    "sole plate": (92, 66, 46),
    "tank": (164, 52, 40),
    "air vessel": (198, 152, 70),
    "beam posts": (70, 72, 78),
    "pump beam": (128, 92, 54),
    "outlet": (186, 142, 66),
    "lantern": (206, 190, 130),
    "tool box": (66, 96, 74),
}
WHEEL = (112, 82, 52)


def corners(part, low, high, only=""):
    """The corners of a box by their names: left and right are -x and x, front and rear -y and y, foot and top -z and z."""
    words = (("left", "right"), ("front", "rear"), ("foot", "top"))
    for k in range(8):
        sides = [k >> axis & 1 for axis in range(3)]
        name = " ".join([part] + [words[axis][side] for axis, side in enumerate(sides)])
        if only in name:
            yield name, [float((low, high)[side][axis]) for axis, side in enumerate(sides)]


def landmarks():
    """Name, part and place on the model of each: those of the datum, then those of the parts that are judged."""
    datum, check = [], []
    datum += [(*c, "sole plate") for c in corners("sole plate", (-52, -20, 12), (52, 20, 17))]
    datum += [(*c, "tank") for c in corners("tank", (-35, -16, 17), (35, 16, 39), "top")]
    for end, y in (("front", -12), ("rear", 12)):
        datum += [(*c, "beam posts") for c in corners(f"{end} post", (19.5, y - 1.5, 39), (24.5, y + 1.5, 63), "top")]
    for side, x in (("left", -38.0), ("right", 38.0)):
        datum.append((f"hub {side} front", [x, -25.0, 12.0], f"wheel front {side}"))
    low, high = pump.LANTERN
    check += [(*c, "lantern") for c in corners("lantern", low, high, "foot")]
    check += [(*c, "lantern") for c in corners("lantern eave", (low[0] - 1, low[1] - 1, 0), (high[0] + 1, high[1] + 1, high[2]), "top")]
    check.append(("lantern tip", [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, high[2] + pump.ROOF], "lantern"))
    check += [(*c, "tool box") for c in corners("tool box", *pump.TOOL_BOX)]
    check += [(*c, "pump beam") for c in corners("beam", (-34, -16, 59), (62, -13, 63))]
    for side, x in (("left", -33.0), ("right", 60.0)):
        for end, y in (("front", -22.0), ("rear", 22.0)):
            check.append((f"handle {side} {end}", [x, y, 61.0], "pump beam"))
    return [(n, p, part, "datum") for n, p, part in datum] + [(n, p, part, "check") for n, p, part in check]


def middles(all_landmarks, shown):
    """Where the errors of each part are stated: the middle of the box of those of its landmarks that a photo shows."""
    found = {}
    for part in pump.ERRORS:
        places = np.array([p for n, p, own, _ in all_landmarks if own == part and n in shown])
        found[part] = (places.min(axis=0) + places.max(axis=0)) / 2
    return found


def subject(parts, anchors):
    return {name: (pump.on_subject(name, points, anchors.get(name)), facets) for name, (points, facets) in parts.items()}


def view(name, camera, sees, all_landmarks, anchors, noise):
    marks = []
    for mark, place, part, use in all_landmarks:
        point = pump.on_subject(part, place, anchors.get(part))
        if not sees(point):
            continue
        at = camera.project(point)[0][0] + noise.normal(size=2) * MARK_SIGMA
        marks.append({"name": mark, "reference": [round(float(v), 1) for v in at], "use": use, "model_mm": place, "part": part})
    return {"name": name, "render": {"drawn": True}, "reference": {"image": f"{name}.jpg"}, "landmarks": marks}


def drawn(parts, all_landmarks, anchors):
    """Both photos, and what each sees."""
    noise = np.random.default_rng(SEED)
    colours = {name: COLOURS.get(name, WHEEL) for name in parts}
    surface = Surface(subject(parts, anchors), colours)
    return {name: photo(camera, SIZE, surface, noise) for name, camera in CAMERAS.items()}


def told(camera):
    return {
        "centre_model_mm": [round(float(v), 6) for v in camera.place],
        "focal_length_px": camera.focal,
        "principal_point_px": [float(v) for v in camera.principal],
        "axis": [round(float(v), 9) for v in camera.turn[2]],
    }


def main():
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else Path(__file__).resolve().parent.parent / "fixtures/camera-demo")
    folder.mkdir(parents=True, exist_ok=True)
    parts, all_landmarks = pump.pump(), landmarks()
    pump.write_package(folder / "pump.3mf", parts)
    # All landmarks of the parts that are judged are seen from one side at least, but for the hindmost foot of the lantern.
    hidden = {"lantern right rear foot", "lantern left rear foot", "tool box left rear foot", "tool box right rear foot"}
    anchors = middles(all_landmarks, {n for n, *_ in all_landmarks} - hidden)
    pictures = drawn(parts, all_landmarks, anchors)
    noise = np.random.default_rng(SEED + 1)
    views = []
    for name, (image, sees) in pictures.items():
        image.save(folder / f"{name}.jpg", quality=85)
        views.append(view(name, CAMERAS[name], sees, all_landmarks, anchors, noise))
    job = {
        "title": "Fire pump of a harbour town, from two sides",
        "scale": "1:24",
        "model": {"files": ["pump.3mf"]},
        "views": views,
        "together": list(CAMERAS),
    }
    (folder / "pump.json").write_text(json.dumps(job, indent=2) + "\n")
    truth = {name: told(camera) for name, camera in CAMERAS.items()}
    truth["errors"] = {
        name: {"size_percent": [100 * v for v in size], "rotation_deg": turn, "offset_mm": offset, "anchor_mm": anchors[name].tolist()}
        for name, (size, turn, offset) in pump.ERRORS.items()
    }
    (folder / "truth.json").write_text(json.dumps(truth, indent=2) + "\n")


if __name__ == "__main__":
    main()
