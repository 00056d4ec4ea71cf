#!/usr/bin/env python3
"""Draws a fire pump in space: a render, a photo from elsewhere, a photo of a screen, the job that asks for their cameras, two photos of a subject
that two parts of the model are not like, the job that takes them together, and the truth; and the mesh of a model that is off in two
parts, with the job that has it drawn.

Usage: python3 -m pip install -r scripts/requirements.txt && python3 scripts/make_space.py [FOLDER]

Writes to fixtures/space unless another folder is named. The same versions of the packages write the same bytes.
The subject is exactly the model of pump.json, which is about cameras. The model of drawn.json, model.obj, has a lantern that is 5 %
too wide along x and a beam that is 0.5 mm too high. In the photo of the hall one mark is wrong on purpose ("tank
rear left top" is 31 px off), and its principal point is not in the middle. Each camera looks at what it sees by its own matrix.
"""

import json
import math
import sys
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

SEED = 1911
MARK_SIGMA = 1.2
SEVERAL_SIGMA = 0.8
SIZE = (1200, 800)
SCREEN = (1280, 720)
SCREEN_PHOTO = (1400, 900)
# A rectangle of 16:9 turned by 14 and 6 degrees, seen with a focal length of 1450 px.
CORNERS = [[187.3, 141.1], [1321.7, 107.8], [1291.0, 806.1], [208.4, 720.6]]
FINE = 3

# Boxes by their two corners, model millimetres at 1:24: x along the engine, y to its left, z up.
BOXES = {
    "sole plate": ((-30, -12, 0), (30, 12, 3), (150, 60, 48)),
    "tank": ((-22, -10, 3), (14, 10, 17), (178, 52, 44)),
    "air vessel": ((-3, -4, 17), (5, 4, 33), (196, 150, 70)),
    "lantern": ((17, -4, 3), (25, 4, 15), (210, 196, 140)),
    "pump beam": ((-27, -1.5, 34), (29, 1.5, 37), (120, 84, 50)),
    "outlet": ((-28, -3, 6), (-22, 3, 11), (160, 120, 60)),
}
# What the model of drawn.json has instead.
ALTERED = {
    "lantern": ((16.8, -4, 3), (25.2, 4, 15)),
    "pump beam": ((-27, -1.5, 34.5), (29, 1.5, 37.5)),
}
LIGHT = np.array([0.35, -0.55, 0.76])


class Camera:
    """Looks at `target` from `place`, z up, turned clockwise by `roll` degrees; focal length and principal point in pixels."""

    def __init__(self, place, target, focal, principal, roll=0.0):
        self.place = np.array(place, float)
        forward = np.array(target, float) - self.place
        forward /= np.linalg.norm(forward)
        right = np.cross(forward, [0, 0, 1.0])
        right /= np.linalg.norm(right)
        down = np.cross(forward, right)
        c, s = math.cos(math.radians(roll)), math.sin(math.radians(roll))
        self.turn = np.array([c * right + s * down, c * down - s * right, forward])
        self.focal, self.principal = focal, np.array(principal, float)

    def see(self, points):
        p = (np.atleast_2d(points) - self.place) @ self.turn.T
        return self.principal + self.focal * p[:, :2] / p[:, 2:]

    def matrix(self):
        k = np.array([[self.focal, 0, self.principal[0]], [0, self.focal, self.principal[1]], [0, 0, 1]])
        return k @ np.c_[self.turn, -self.turn @ self.place]


def corner(name, which):
    """A corner of a box: "front" is +x, "left" +y, "top" +z."""
    low, high, _ = BOXES[name]
    words = which.split()
    return [
        high[0] if "front" in words else low[0],
        high[1] if "left" in words else low[1],
        high[2] if "top" in words else low[2],
    ]


def faces():
    """Each face as four corners, its outward normal and its colour."""
    for low, high, colour in BOXES.values():
        b = np.array([low, high], float)
        for axis in range(3):
            u, v = (axis + 1) % 3, (axis + 2) % 3
            for side in (0, 1):
                corners = []
                for i, j in ((0, 0), (1, 0), (1, 1), (0, 1)):
                    p = np.zeros(3)
                    p[axis], p[u], p[v] = b[side, axis], b[i, u], b[j, v]
                    corners.append(p)
                normal = np.zeros(3)
                normal[axis] = 2 * side - 1
                yield np.array(corners), normal, colour


# Errors of the parts of the second job, model minus subject: sizes, turn about x, y and z (degrees), offset (mm).
ERRORS = {
    "lantern": ((0.06, 0.0, 0.0), (0, 0, 0), (0, 0, -0.45)),
    "pump beam": ((0, 0, 0), (0, 3.0, 0), (0, 0, 0)),
}


def on_subject(name, points):
    """Where the subject has places of the model's part: the errors taken off about the middle of its box."""
    if name not in ERRORS:
        return np.atleast_2d(points).astype(float)
    size, turn, offset = (np.array(v, float) for v in ERRORS[name])
    anchor = np.mean(np.array(BOXES[name][:2], float), axis=0)
    angle = math.radians(np.linalg.norm(turn))
    axis = turn / max(np.linalg.norm(turn), 1e-12)
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    rotation = np.eye(3) + math.sin(angle) * k + (1 - math.cos(angle)) * k @ k
    return ((np.atleast_2d(points) - anchor) @ rotation) / (1 + size) + anchor - offset


def is_behind(a, b, camera):
    """Whether the box `a` lies behind `b`: some plane between them has `b` and the camera on one side."""
    for axis in range(3):
        if a[0][axis] >= b[1][axis] - 1e-9 and camera.place[axis] < a[0][axis] + 1e-9:
            return True
        if a[1][axis] <= b[0][axis] + 1e-9 and camera.place[axis] > a[1][axis] - 1e-9:
            return True
    return False


def draw(camera, size, ground, shade, place=lambda name, points: points):
    """The pump, boxes from the farthest to the nearest; `place` moves the points of a part."""
    image = Image.new("RGB", (size[0] * FINE, size[1] * FINE), ground)
    pen = ImageDraw.Draw(image)
    left, order = dict(BOXES), []
    while left:
        free = [n for n in left if all(m == n or is_behind(left[n], left[m], camera) or not is_behind(left[m], left[n], camera) for m in left)]
        name = max(free or left, key=lambda n: np.linalg.norm(np.mean(left[n][:2], axis=0) - camera.place))
        order.append(name)
        del left[name]
    for name in order:
        own = BOXES[name][2]
        low, high = np.array(BOXES[name][0], float), np.array(BOXES[name][1], float)
        for corners, normal, colour in faces():
            inside = (corners >= low - 1e-9).all() and (corners <= high + 1e-9).all() and colour == own
            if not inside or (camera.place - corners[0]) @ normal <= 0:
                continue
            light = shade[0] + shade[1] * max(0.0, float(normal @ LIGHT))
            fill = tuple(int(min(255, c * light)) for c in colour)
            at = [tuple(p * FINE) for p in camera.see(place(name, corners))]
            pen.polygon(at, fill=fill)
            pen.line(at + at[:1], fill=(30, 24, 20), width=2 * FINE)
    return image.resize(size, Image.Resampling.BOX)


def homography(source, target):
    rows = []
    for (x, y), (u, v) in zip(source, target):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
    return np.append(np.linalg.solve(np.array(rows), np.array(target).ravel()), 1).reshape(3, 3)


def mapped(h, points):
    q = np.c_[points, np.ones(len(points))] @ h.T
    return q[:, :2] / q[:, 2:]


def on_screen(picture):
    """A photo of a screen that shows the picture, and the map into it."""
    w, h = SCREEN
    into = homography([[0, 0], [w, 0], [w, h], [0, h]], CORNERS)
    back = np.linalg.inv(into)
    back /= back[2, 2]
    shown = picture.transform(SCREEN_PHOTO, Image.Transform.PERSPECTIVE, back.ravel()[:8], Image.Resampling.BICUBIC)
    room = Image.new("RGB", SCREEN_PHOTO, (26, 27, 30))
    mask = Image.new("L", SCREEN_PHOTO, 0)
    ImageDraw.Draw(mask).polygon([tuple(c) for c in CORNERS], fill=255)
    room.paste(shown, (0, 0), mask)
    return room, into


DATUM = [
    ("sole plate front right top", "sole plate", "front right top"),
    ("sole plate front left top", "sole plate", "front left top"),
    ("sole plate rear right top", "sole plate", "rear right top"),
    ("sole plate front right foot", "sole plate", "front right"),
    ("sole plate rear right foot", "sole plate", "rear right"),
    ("tank rear right top", "tank", "rear right top"),
    ("tank rear left top", "tank", "rear left top"),
    ("tank front right top", "tank", "front right top"),
    ("tank front right foot", "tank", "front right"),
    ("vessel front right top", "air vessel", "front right top"),
    ("vessel rear right top", "air vessel", "rear right top"),
    ("vessel front left top", "air vessel", "front left top"),
]
CHECK = [
    ("lantern front right top", "lantern", "front right top"),
    ("lantern rear right top", "lantern", "rear right top"),
    ("lantern front left top", "lantern", "front left top"),
    ("beam front right foot", "pump beam", "front right"),
    ("beam front right top", "pump beam", "front right top"),
    ("beam rear right top", "pump beam", "rear right top"),
]


def marks(noise, render, seen, wrong=None):
    """Landmarks with exact marks in the render and noisy ones in the reference."""
    out = []
    for use, entries in (("datum", DATUM), ("check", CHECK)):
        for name, part, which in entries:
            place = corner(part, which)
            at = seen([place])[0] + noise.normal(size=2) * MARK_SIGMA
            if name == wrong:
                at = at + [24.0, 20.0]
            out.append(
                {
                    "name": name,
                    "render": [round(float(v), 1) for v in render.see(place)[0]],
                    "reference": [round(float(v), 1) for v in at],
                    "use": use,
                    "model_mm": [float(v) for v in place],
                }
            )
    return out


def write_mesh(path):
    """The model's boxes as OBJ, one object each."""
    lines, first = ["# The fire pump with an altered lantern and beam, millimetres; made by scripts/make_space.py"], 1
    for name, box in BOXES.items():
        low, high = ALTERED.get(name, box[:2])
        lines.append(f"o {name}")
        for k in range(8):
            x, y, z = ((low, high)[k >> axis & 1][axis] for axis in range(3))
            lines.append(f"v {x:g} {y:g} {z:g}")
        for face in ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)):
            lines.append("f " + " ".join(str(first + k) for k in face))
        first += 8
    path.write_text("\n".join(lines) + "\n")


def on_model(name, place):
    """Where the model has a corner of the subject."""
    if name not in ALTERED:
        return place
    subject, model = BOXES[name], ALTERED[name]
    return [model[0][k] if place[k] == subject[0][k] else model[1][k] for k in range(3)]


def drawn(job):
    """The same references with a drawn render."""
    part = {name: part for name, part, _ in DATUM + CHECK}

    def landmark(mark):
        own = part[mark["name"]]
        place = [float(v) for v in on_model(own, mark["model_mm"])]
        return {"name": mark["name"], "reference": mark["reference"], "use": mark["use"], "model_mm": place, "part": own}

    views = [
        {
            "name": view["name"],
            "render": {"drawn": True},
            "reference": view["reference"],
            "landmarks": [landmark(mark) for mark in view["landmarks"]],
        }
        for view in job["views"]
    ]
    return {
        "title": "Fire pump of a harbour town, drawn from its mesh",
        "scale": job["scale"],
        "model": {"files": ["model.obj"], "unit": "mm"},
        "views": views,
    }


# The corners that are seen from the right and the front, of the parts that are judged.
SEEN = ["front right top", "front right", "front left top", "front left", "rear right top", "rear right", "rear left top"]


def hull(points):
    """Convex outline, counted round (Andrew 1979)."""
    points = sorted(map(tuple, points))
    cross = lambda o, a, b: (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])
    halves = []
    for row in (points, points[::-1]):
        half = []
        for p in row:
            while len(half) > 1 and cross(half[-2], half[-1], p) <= 0:
                half.pop()
            half.append(p)
        halves.append(half[:-1])
    return halves[0] + halves[1]


def view_of_several(noise, name, render, camera, image):
    """A view of the second job: datum marks, and all corners of the parts that are judged."""
    landmarks, regions = [], []
    corners = [(n, p, w, "datum") for n, p, w in DATUM]
    for part in ("lantern", "pump beam"):
        corners += [(f"{part} {which}", part, which, "check") for which in SEEN]
        outline = hull(np.array([render.see(corner(part, which))[0] for which in SEEN + ["rear left"]]))
        names = [f"{part} {which}" for which in SEEN]
        regions.append({"name": part, "outline": [[round(float(v), 1) for v in p] for p in outline], "landmarks": names})
    for mark, part, which, use in corners:
        place = corner(part, which)
        at = camera.see(on_subject(part, place))[0] + noise.normal(size=2) * SEVERAL_SIGMA
        landmarks.append(
            {
                "name": mark,
                "render": [round(float(v), 1) for v in render.see(place)[0]],
                "reference": [round(float(v), 1) for v in at],
                "use": use,
                "model_mm": [float(v) for v in place],
            }
        )
    matrix = [[round(float(v), 9) for v in row] for row in render.matrix()]
    return {
        "name": name,
        "render": {"image": "render.png", "camera": {"matrix": matrix}},
        "reference": {"image": image},
        "same_camera": False,
        "landmarks": landmarks,
        "regions": regions,
    }


def several(folder, render):
    """The second job: the subject that its parts are not like, in two photos."""
    # The first draw in which every interval holds the truth; over 60 draws 95.6 of 100 do.
    noise = np.random.default_rng(SEED + 2)
    quay = Camera((122, -104, 52), [1, 1, 15], 2300.0, (612, 394), roll=1.0)
    yard = Camera((72, -150, 66), [0, 0, 15], 2450.0, (590, 408), roll=-0.5)
    for name, camera in (("quay", quay), ("yard", yard)):
        draw(camera, SIZE, (96, 92, 84), (0.45, 0.6), on_subject).save(folder / f"{name}.jpg", quality=80)
    job = {
        "title": "Fire pump of a harbour town, from two sides",
        "scale": "1:24",
        "views": [view_of_several(noise, n, render, c, f"{n}.jpg") for n, c in (("quay", quay), ("yard", yard))],
        "together": ["quay", "yard"],
    }
    (folder / "together.json").write_text(json.dumps(job, indent=2) + "\n")
    return {"quay": told(quay), "yard": told(yard), "errors": ERRORS}


def told(camera):
    return {
        "centre_model_mm": [round(float(v), 6) for v in camera.place],
        "focal_length_px": camera.focal,
        "principal_point_px": [float(v) for v in camera.principal],
        "axis": [round(float(v), 9) for v in camera.turn[2]],
    }


def main():
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else Path(__file__).parent.parent / "fixtures/space")
    folder.mkdir(parents=True, exist_ok=True)
    noise = np.random.default_rng(SEED)
    middle = [0, 0, 14]
    render = Camera((105, -125, 62), middle, 2050.0, (600, 400))
    hall = Camera((118, -96, 50), [1, 1, 13], 1980.0, (618, 389), roll=1.5)
    film = Camera((128, -150, 40), [2, 0, 15], 2600.0, (640, 360))
    draw(render, SIZE, (244, 243, 240), (0.72, 0.4)).save(folder / "render.png", optimize=True)
    draw(hall, SIZE, (96, 92, 84), (0.45, 0.6)).save(folder / "hall.jpg", quality=88)
    screen, into = on_screen(draw(film, SCREEN, (60, 66, 74), (0.5, 0.55)))
    screen.save(folder / "screen.jpg", quality=88)
    seen = {"hall": hall.see, "screen": lambda p: mapped(into, film.see(p))}
    corners = [[round(float(v + MARK_SIGMA * noise.normal()), 1) for v in c] for c in CORNERS]
    matrix = [[round(float(v), 9) for v in row] for row in render.matrix()]
    shown = {"image": "render.png", "camera": {"matrix": matrix}}
    rectify = {"corners": corners, "aspect": "16:9"}
    views = [
        ("hall", {"image": "hall.jpg", "source": "photo in the hall"}, "tank rear left top"),
        ("screen", {"image": "screen.jpg", "source": "a film of the harbour", "rectify": rectify}, None),
    ]
    job = {
        "title": "Fire pump of a harbour town, from elsewhere",
        "scale": "1:24",
        "views": [
            {
                "name": name,
                "render": shown,
                "reference": reference,
                "same_camera": False,
                "landmarks": marks(noise, render, seen[name], wrong),
            }
            for name, reference, wrong in views
        ],
    }
    (folder / "pump.json").write_text(json.dumps(job, indent=2) + "\n")
    write_mesh(folder / "model.obj")
    (folder / "drawn.json").write_text(json.dumps(drawn(job), indent=2) + "\n")
    truth = {"hall": told(hall), "screen": told(film), "screen_corners": CORNERS, "screen_size": SCREEN}
    truth |= several(folder, render)
    (folder / "truth.json").write_text(json.dumps(truth, indent=2) + "\n")


main()
