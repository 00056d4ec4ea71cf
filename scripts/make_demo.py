#!/usr/bin/env python3
"""Draws the demo: two views of a helm chair, the job that compares them, and what a perfect comparison would find.

Usage: python3 -m pip install -r scripts/requirements.txt && python3 scripts/make_demo.py [FOLDER]

Writes to fixtures/demo unless another folder is named. The same versions of the packages write the same bytes.
Subject and model are drawn from the same polygons (demo_chair.py); the model's parts carry the errors listed in ERRORS:
    u_model = R(theta) diag(1 + w, 1 + h) (u_subject - c) + c + d
in render pixels, with c the region's anchor and theta clockwise on the screen.
"""
import json
import sys
from pathlib import Path

import numpy as np
from PIL import Image

import demo_chair as chair
import demo_pixels as px

SEED = 32
SCALE = 32
PX_PER_MODEL_MM = 30.0
RENDER = 1500
# Where full-size (0, 0) lies in the renders.
RENDER_ORIGIN = {"side": np.array([200.0, 1390.0]), "front": np.array([750.0, 1390.0])}
MARK_SIGMA = {"render": 0.5, "reference": 1.0}

# Anchors are full-size points of the subject; offsets are render pixels.
NO_ERROR = {"width": 0.0, "height": 0.0, "rotation_deg": 0.0, "offset": (0.0, 0.0)}
ERRORS = {
    "side": {
        "headrest": {**NO_ERROR, "anchor": (1008, 1230), "width": 0.04},
        "armrest": {**NO_ERROR, "anchor": (655, 720), "offset": (0.0, 9.0)},
        "footrest": {**NO_ERROR, "anchor": (315, 190), "rotation_deg": 2.5},
        "control column": {**NO_ERROR, "anchor": (142.5, 40), "height": 0.03},
        "back": {**NO_ERROR, "anchor": (890, 760)},
        "seat pan": {**NO_ERROR, "anchor": (602, 422)},
    },
    "front": {
        "headrest": {**NO_ERROR, "anchor": (0, 1233), "height": -0.04},
        "armrest right": {**NO_ERROR, "anchor": (-320, 720), "offset": (-8.0, 0.0)},
        "armrest left": {**NO_ERROR, "anchor": (320, 720), "offset": (8.0, 0.0)},
    },
}
DATUM = {
    "side": ["base front", "base rear", "deck plate rear", "pedestal waist front", "collar rear", "pan front",
             "pan rear", "pan keel", "back top", "back heel"],
    "front": ["base right", "base left", "deck plate left", "collar right", "collar left", "pan right", "pan left",
              "back shoulder right", "back shoulder left", "back crown left"],
}

PALETTES = {
    "model": {"paint": (150, 158, 166), "metal": (176, 180, 184), "leather": (196, 188, 176), "thread": (120, 112, 100),
              "rubber": (84, 86, 90), "wood": (170, 140, 108), "lamp": (214, 96, 60)},
    "film": {"paint": (88, 104, 98), "metal": (170, 146, 96), "leather": (142, 78, 52), "thread": (222, 190, 140),
             "rubber": (42, 42, 44), "wood": (168, 108, 60), "lamp": (250, 190, 70)},
    "screenshot": {"paint": (96, 120, 150), "metal": (132, 146, 162), "leather": (110, 126, 160), "thread": (190, 204, 224),
                   "rubber": (52, 58, 70), "wood": (128, 132, 140), "lamp": (220, 220, 150)},
}


def paint(canvas, shapes, to_canvas, palette, light=1.0):
    """Fills (polygon, material, shade) shapes."""
    for polygon, material, shade in shapes:
        colour = np.clip(np.array(palette[material]) * shade * light, 0, 255).astype(int)
        canvas.fill(to_canvas(polygon), colour)


def render_of_subject(view):
    """Render pixels of full-size points, as they would be without errors."""
    scale = PX_PER_MODEL_MM / SCALE
    return lambda points: RENDER_ORIGIN[view] + np.asarray(points, float) * [scale, -scale]


def render_of_model(view, part):
    """Render pixels of a part's points with the part's error."""
    subject = render_of_subject(view)
    error = ERRORS[view].get(part)
    if error is None:
        return subject
    centre = subject(error["anchor"])
    angle = np.radians(error["rotation_deg"])
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    matrix = turn @ np.diag([1 + error["width"], 1 + error["height"]])
    return lambda points: (subject(points) - centre) @ matrix.T + centre + error["offset"]


def draw_render(view, parts):
    canvas = px.Canvas(RENDER, RENDER, 8)
    for part, shapes in parts.items():
        paint(canvas, shapes, render_of_model(view, part), PALETTES["model"])
    return px.rgb8(canvas.reduced())


# The film picture on the screen has 1920 x 1080 pixels of its own.
FRAME = (1920, 1080)


def frame_of_subject(points):
    """Film picture pixels of full-size points: 0.70 px/mm, turned by 1.2 degrees (the film camera was not level)."""
    angle = np.radians(1.2)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return (np.asarray(points, float) * [0.70, -0.70]) @ turn.T + [560.0, 1010.0]


def photo_of_frame():
    """The homography of a hand-held camera beside the screen's axis: yaw 16, pitch 6, roll -1.5 degrees."""
    yaw, pitch, roll = np.radians([16.0, 6.0, -1.5])
    turn_y = np.array([[np.cos(yaw), 0, np.sin(yaw)], [0, 1, 0], [-np.sin(yaw), 0, np.cos(yaw)]])
    turn_x = np.array([[1, 0, 0], [0, np.cos(pitch), -np.sin(pitch)], [0, np.sin(pitch), np.cos(pitch)]])
    turn_z = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
    screen = np.array([[-0.8, -0.45, 0], [0.8, -0.45, 0], [0.8, 0.45, 0], [-0.8, 0.45, 0]])
    seen = screen @ (turn_z @ turn_x @ turn_y).T + [0, 0, 2.0]
    corners = seen[:, :2] / seen[:, 2:] * 2120 + [984, 655]
    width, height = FRAME
    return px.homography([(0, 0), (width, 0), (width, height), (0, height)], corners)


def draw_cabin(canvas, at):
    """The set behind the chair, in film picture pixels moved by `at`."""
    def fill(polygon, rgb):
        canvas.fill(at(polygon), rgb)

    def block(x0, y0, x1, y1, rgb):
        fill(chair.box(x0, y0, x1, y1), rgb)

    block(0, 0, 1920, 1080, (98, 106, 104))
    for i, x in enumerate((0, 330, 660, 1010, 1360, 1660)):
        block(x + 4, 60, x + 322, 880, ((112, 122, 118), (104, 114, 112))[i % 2])
        block(x, 0, x + 5, 900, (52, 58, 58))
        for y in range(90, 880, 130):
            fill(chair.disc(x + 18, y, 5, 12), (70, 76, 74))
    block(0, 0, 1920, 52, (60, 50, 44)), block(0, 52, 1920, 58, (30, 28, 28))
    block(0, 560, 1920, 568, (74, 80, 78))
    for x, y in ((420, 250), (1560, 260)):
        fill(chair.disc(x, y, 118, 48), (128, 104, 66)), fill(chair.disc(x, y, 98, 48), (176, 196, 206))
        fill([(x - 96, y + 20), (x - 20, y - 10), (x + 94, y + 26), (x + 70, y + 69), (x, y + 98), (x - 70, y + 69)],
             (204, 212, 214))
        for k in range(8):
            fill(chair.disc(x + 108 * np.cos(k * np.pi / 4), y + 108 * np.sin(k * np.pi / 4), 6, 12), (72, 58, 38))
    fill(chair.bar((0, 700), (1920, 700), 22), (128, 96, 60)), fill(chair.bar((0, 694), (1920, 694), 4), (190, 154, 104))
    block(0, 905, 1920, 1080, (64, 52, 42)), block(0, 890, 1920, 906, (36, 34, 34))
    for x in range(-200, 2200, 150):
        fill([(x, 906), (x + 3, 906), (960 + (x - 960) * 1.5 + 4, 1080), (960 + (x - 960) * 1.5, 1080)], (44, 36, 30))
    block(1440, 640, 1700, 930, (104, 82, 54)), block(1452, 652, 1688, 918, (122, 98, 66))
    fill(chair.bar((1452, 652), (1688, 918), 16), (92, 72, 46)), fill(chair.bar((1688, 652), (1452, 918), 16), (92, 72, 46))
    block(1490, 560, 1640, 640, (70, 84, 96)), block(1500, 570, 1560, 630, (170, 178, 160))
    block(96, 470, 320, 930, (78, 70, 62)), block(108, 482, 308, 610, (48, 46, 44))
    for k, x in enumerate((140, 208, 276)):
        fill(chair.disc(x, 545, 27, 24), (196, 190, 168)), fill(chair.bar((x, 545), (x + 16 - 9 * k, 526), 4), (60, 30, 24))
    for k in range(4):
        block(124, 650 + 62 * k, 292, 694 + 62 * k, (96, 86, 74)), block(196, 668 + 62 * k, 220, 676 + 62 * k, (180, 150, 90))
    fill([(1330, 58), (1336, 58), (1352, 300), (1346, 300)], (40, 38, 36))
    fill([(1310, 300), (1388, 300), (1410, 366), (1288, 366)], (150, 120, 60)), block(1326, 366, 1372, 384, (250, 232, 170))
    fill([(560, 1022), (1420, 1040), (1460, 1062), (600, 1058)], (34, 28, 24))


PLANE_MARGIN = 340
PLANE_SCALE = 3


def draw_screen_plane(parts):
    """The plane of the screen with its bezel and the room behind, `PLANE_SCALE` pixels a film picture pixel."""
    width, height = FRAME
    canvas = px.Canvas(width + 2 * PLANE_MARGIN, height + 2 * PLANE_MARGIN, PLANE_SCALE, (24, 21, 22, 255))
    at = lambda points: np.asarray(points, float) + PLANE_MARGIN
    draw_cabin(canvas, at)
    for shapes in parts.values():
        paint(canvas, shapes, lambda points: at(frame_of_subject(points)), PALETTES["film"])
    # What reaches over the picture's edge is covered by the room and the bezel around it.
    far, room = PLANE_MARGIN, (24, 21, 22)
    for x0, y0, x1, y1 in ((-far, -far, width + far, 0), (-far, height, width + far, height + far),
                           (-far, -far, 0, height + far), (width, -far, width + far, height + far)):
        canvas.fill(at(chair.box(x0, y0, x1, y1)), room)
    for grow, rgb in ((58, (70, 72, 76)), (52, (96, 98, 102)), (14, (58, 59, 62))):
        for x0, y0, x1, y1 in ((-grow, -grow, width + grow, 0), (-grow, height, width + grow, height + grow),
                               (-grow, -grow, 0, height + grow), (width, -grow, width + grow, height + grow)):
            canvas.fill(at(chair.box(x0, y0, x1, y1)), rgb)
    canvas.fill(at(chair.disc(1880, height + 33, 7)), (210, 60, 40))
    canvas.fill(at(chair.box(-340, height + 150, width + 340, height + 162)), (50, 42, 36))
    canvas.fill(at(chair.box(-340, height + 162, width + 340, height + 340)), (36, 30, 27))
    return canvas.rows(0, canvas.height)[..., :3]


PHOTO = (2000, 1300)
# How much the screen's own pixel grid modulates its brightness.
GRID = 0.12


def draw_photo(parts):
    """A photo of the screen: each pixel the mean of 4 x 4 samples, lens blur, light, reflection, noise."""
    plane = draw_screen_plane(parts)
    frame_of_photo = np.linalg.inv(photo_of_frame())
    width, height = PHOTO
    photo = np.zeros((height, width, 3), np.float32)
    screen = np.zeros((height, width, 1), np.float32)
    for i in range(16):
        x, y = np.meshgrid(np.arange(width) + (i % 4 + 0.5) / 4, np.arange(height) + (i // 4 + 0.5) / 4)
        w = frame_of_photo[2, 0] * x + frame_of_photo[2, 1] * y + frame_of_photo[2, 2]
        u = (frame_of_photo[0, 0] * x + frame_of_photo[0, 1] * y + frame_of_photo[0, 2]) / w
        v = (frame_of_photo[1, 0] * x + frame_of_photo[1, 1] * y + frame_of_photo[1, 2]) / w
        colour = px.sample(plane, (u + PLANE_MARGIN) * PLANE_SCALE, (v + PLANE_MARGIN) * PLANE_SCALE)
        inside = ((u > 0) & (u < FRAME[0]) & (v > 0) & (v < FRAME[1]))[..., None]
        # The screen's own pixels: too fine for the photo, so they come out as faint moire.
        grid = 1 + GRID * (np.cos(2 * np.pi * u) + np.cos(2 * np.pi * v))
        photo += np.where(inside, colour * grid[..., None].astype(np.float32), colour) / 16
        screen += inside.astype(np.float32) / 16
    photo = add_light(photo, screen)
    photo = px.blur(photo, 0.7)
    noise = np.random.default_rng(SEED)
    photo += noise.normal(0, 1.8, (height, width, 1)) + noise.normal(0, 1.0, (height, width, 3))
    return px.rgb8(photo)


def add_light(photo, screen):
    """Uneven brightness, the screen's glow, and the reflection of a window in it."""
    height, width = photo.shape[:2]
    x, y = np.meshgrid((np.arange(width) + 0.5) / width, (np.arange(height) + 0.5) / height)
    fall = 1.06 - 0.20 * x - 0.10 * y + 0.10 * np.sin(2.2 * x + 0.6)
    glow = 10 * np.exp(-((x - 0.5) ** 2 / 0.25 + (y - 0.5) ** 2 / 0.2))
    window = np.zeros((height, width, 1), np.float32)
    for left in (1330, 1490):
        for top in (190, 330):
            window[top:top + 120, left:left + 140] = 1
    reflection = px.blur(window, 22.0)
    photo = photo * fall[..., None] + glow[..., None] * (0.6 + 0.4 * (1 - screen)) + 6 * screen
    return photo + reflection * screen * np.array([26, 30, 36])


SCREENSHOT = (900, 960)


def screenshot_of_subject(points):
    """Screenshot pixels of full-size points."""
    return np.asarray(points, float) * [0.64, -0.64] + [452.0, 903.0]


def draw_screenshot(parts):
    width, height = SCREENSHOT
    canvas = px.Canvas(width, height, 8, (206, 209, 212, 255))
    canvas.fill(chair.box(0, 903, width, height), (180, 184, 189))
    for x in range(50, width, 100):
        canvas.fill(chair.bar((x, 903), (x + (x - 450) * 0.12, height), 1.5), (164, 168, 174))
    for shapes in parts.values():
        paint(canvas, shapes, screenshot_of_subject, PALETTES["screenshot"])
    return px.rgb8(canvas.reduced()[..., :3])


def hull(points):
    """Convex hull, counter-clockwise in the mathematical sense (Andrew's monotone chain)."""
    points = sorted(map(tuple, points))

    def half(points):
        chain = []
        for p in points:
            while len(chain) > 1 and np.linalg.det([np.subtract(chain[-1], chain[-2]), np.subtract(p, chain[-1])]) <= 1e-9:
                chain.pop()
            chain.append(p)
        return chain[:-1]
    return half(points) + half(points[::-1])


def outline(view, part, shapes):
    """The hull of a part in the render, grown by 10 px."""
    points = np.vstack([render_of_model(view, part)(polygon) for polygon, _, _ in shapes])
    ball = 10.8 * np.array([(np.cos(a), np.sin(a)) for a in np.pi / 8 + np.arange(8) * np.pi / 4])
    grown = hull((points[:, None] + ball).reshape(-1, 2))
    return [[round(float(x), 1), round(float(y), 1)] for x, y in thinned(grown)]


def thinned(polygon):
    """Without corners that lie less than 6 px from the one before."""
    kept = [polygon[0]]
    for point in polygon[1:]:
        if np.hypot(*np.subtract(point, kept[-1])) > 6:
            kept.append(point)
    return kept


def rounded(point, digits=2):
    return [round(float(v), digits) for v in point]


def marked(view, marks, reference_of_subject, noise):
    """The job's landmarks, and their true places."""
    landmarks, truth = [], []
    for name, (part, x, z) in marks.items():
        places = {"render": render_of_model(view, part)((x, z)), "reference": reference_of_subject((x, z))}
        use = "datum" if name in DATUM[view] else "check"
        clicks = {side: rounded(p + noise.normal(0, MARK_SIGMA[side], 2)) for side, p in places.items()}
        landmarks.append({"name": name, **clicks, "use": use})
        truth.append({"name": name, "part": part, **{side: rounded(p, 4) for side, p in places.items()}})
    return landmarks, truth


def regions(view, parts, marks, extra):
    found, truth = [], []
    for part, error in ERRORS[view].items():
        on_part = [name for name, mark in marks.items() if mark[0] == part and name not in DATUM[view]]
        anchor = rounded(render_of_subject(view)(error["anchor"]), 3)
        found.append({"name": part, "outline": outline(view, part, parts[part]), "landmarks": on_part, "anchor": anchor,
                      **extra.get(part, {})})
        offset_mm = [v / PX_PER_MODEL_MM for v in error["offset"]]
        truth.append({"name": part, "anchor": anchor, "width_percent": 100 * error["width"],
                      "height_percent": 100 * error["height"], "rotation_deg": error["rotation_deg"],
                      "offset_px": list(error["offset"]), "offset_model_mm": rounded(offset_mm, 6),
                      "offset_full_size_mm": rounded([v * SCALE for v in offset_mm], 6)})
    return found, truth


def side_view(parts, marks, noise):
    matrix = photo_of_frame()
    width, height = FRAME
    corners = px.project(matrix, [(0, 0), (width, 0), (width, height), (0, height)])
    landmarks, true_marks = marked("side", marks, lambda p: px.project(matrix, frame_of_subject(p)), noise)
    found, true_regions = regions("side", parts, marks, {
        "headrest": {"tolerance": {"proportion_percent": 1.0}, "note": "pad seam from sketch 4"},
        "control column": {"note": "anchored at the foot, where it stands on the base plate"}})
    clicked = [rounded(c + noise.normal(0, MARK_SIGMA["reference"], 2)) for c in corners]
    job = {
        "name": "side",
        "render": {"image": "side-render.png", "mark_sigma_px": MARK_SIGMA["render"]},
        "reference": {"image": "side-screen.jpg", "kind": "photo", "source": "reel 2, 00:41:07", "variant": "first refit",
                      "note": "photographed off the screen; a window is reflected in the upper right",
                      "straighten": {"corners": clicked, "aspect": "16:9"}, "mark_sigma_px": MARK_SIGMA["reference"]},
        "registration": "similarity",
        "landmarks": landmarks,
        "known": [{"in": "reference", "from": "pan front", "to": "pan rear", "full_size": "18 1/4 in"},
                  {"in": "render", "from": "base front", "to": "base rear", "model": "28.125 mm"},
                  {"in": "render", "from": "pan front", "to": "pan rear", "model": "14.486 mm"}],
        "spans": [{"name": "back height", "from": "pan rear", "to": "back top"},
                  {"name": "seat depth", "from": "pan front", "to": "pan rear"},
                  {"name": "overall height", "from": "base rear", "to": "headrest top"}],
        "angles": [{"name": "back rake", "from": "pan rear", "to": "back top", "against": ["pan front", "pan rear"]},
                   {"name": "footrest pitch", "from": "footrest heel low", "to": "footrest toe low",
                    "against": ["base rear", "base front"]}],
        "regions": found,
    }
    truth = {"name": "side", "render_px_per_model_mm": PX_PER_MODEL_MM, "corners": [rounded(c, 4) for c in corners],
             "photo_from_film_picture": matrix.tolist(), "film_picture_size": list(FRAME),
             "film_picture_px_per_full_size_mm": 0.70, "film_picture_rotation_deg": 1.2,
             "mark_sigma_px": MARK_SIGMA, "landmarks": true_marks, "regions": true_regions}
    return job, truth


def front_view(parts, marks, noise):
    landmarks, true_marks = marked("front", marks, screenshot_of_subject, noise)
    found, true_regions = regions("front", parts, marks, {})
    job = {
        "name": "front",
        "render": {"image": "front-render.png", "mark_sigma_px": MARK_SIGMA["render"]},
        "reference": {"image": "front-screenshot.png", "kind": "screenshot", "source": "screenshot of the lost file",
                      "variant": "first refit", "mark_sigma_px": MARK_SIGMA["reference"]},
        "registration": "similarity",
        "landmarks": landmarks,
        "known": [{"in": "reference", "from": "pan right", "to": "pan left", "full_size": "530 mm"},
                  {"in": "render", "from": "base right", "to": "base left", "model": "19.375 mm"}],
        "spans": [{"name": "armrest span", "from": "armrest right outer", "to": "armrest left outer"},
                  {"name": "pan width", "from": "pan right", "to": "pan left"}],
        "angles": [{"name": "headrest tilt", "from": "headrest top right", "to": "headrest top left",
                    "against": ["base right", "base left"]}],
        "regions": found,
    }
    truth = {"name": "front", "render_px_per_model_mm": PX_PER_MODEL_MM, "screenshot_px_per_full_size_mm": 0.64,
             "mark_sigma_px": MARK_SIGMA, "landmarks": true_marks, "regions": true_regions}
    return job, truth


def laid_out(value, indent=0):
    """JSON with one line for each small thing, so that a person can read and edit it."""
    line = json.dumps(value, ensure_ascii=False)
    if not isinstance(value, (dict, list)) or len(line) + indent <= 118:
        return line
    pad, opening, closing = " " * (indent + 2), *("{}" if isinstance(value, dict) else "[]")
    if isinstance(value, dict):
        lines = [f"{pad}{json.dumps(k)}: {laid_out(v, indent + 2)}" for k, v in value.items()]
    else:
        lines = [pad + laid_out(v, indent + 2) for v in value]
    return opening + "\n" + ",\n".join(lines) + "\n" + " " * indent + closing


def main():
    default = Path(__file__).resolve().parent.parent / "fixtures" / "demo"
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else default
    folder.mkdir(parents=True, exist_ok=True)
    side_parts, side_marks = chair.side_view()
    front_parts, front_marks = chair.front_view()
    Image.fromarray(draw_render("side", side_parts)).save(folder / "side-render.png", optimize=True)
    Image.fromarray(draw_render("front", front_parts)).save(folder / "front-render.png", optimize=True)
    Image.fromarray(draw_screenshot(front_parts)).save(folder / "front-screenshot.png", optimize=True)
    Image.fromarray(draw_photo(side_parts)).save(folder / "side-screen.jpg", quality=85, subsampling="4:2:0")
    noise = np.random.default_rng(SEED + 1)
    side, side_truth = side_view(side_parts, side_marks, noise)
    front, front_truth = front_view(front_parts, front_marks, noise)
    job = {"title": "Helm chair of a survey airship", "scale": f"1:{SCALE}", "unit": "mm",
           "tolerance": {"proportion_percent": 2.0, "offset_mm": 0.20, "angle_deg": 1.0, "edge_overlap": 0.5},
           "smallest_visible_mm": 0.05, "views": [side, front]}
    (folder / "chair.json").write_text(laid_out(job) + "\n", encoding="utf-8")
    truth = {"made_by": "scripts/make_demo.py", "definition":
             "u_model = R(theta) diag(1+w, 1+h) (u_subject - anchor) + anchor + offset, render px, theta clockwise",
             "views": [side_truth, front_truth]}
    (folder / "truth.json").write_text(laid_out(truth) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
