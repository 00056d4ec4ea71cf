#!/usr/bin/env python3
"""Draws the demo: three views of a fire pump, the job that compares them, and what a perfect comparison would find.

Usage: python3 -m pip install -r scripts/requirements.txt && python3 scripts/make_demo.py [FOLDER]

Writes to fixtures/demo unless another folder is named. The same versions of the packages write the same bytes.
Subject and model are drawn from the same shapes (demo_pump.py, demo_pump_front.py, demo_plan.py); the model's parts carry the
errors of demo_errors.py. In the front view two marks are exchanged on purpose, in the old plan one dimension is misread.
"""

import json
import sys
from pathlib import Path

import numpy as np
from PIL import Image

import demo_light as light
import demo_pixels as px
import demo_plan as plan
import demo_pump as pump
import demo_pump_front as front
import demo_screen as screen
from demo_errors import ERRORS, NOT_JUDGED, RENDERS, SCALE, render_of_model, render_of_subject, true_errors

SEED = 24
MARK_SIGMA = {"render": 0.4, "reference": 0.7}
DATUM = {
    "side": [
        "hub front",
        "hub rear",
        "sill front",
        "sill rear",
        "sill tail",
        "tank front",
        "tank rear",
        "cover front",
        "cover rear",
        "standard foot",
        "gland front",
        "gland rear",
    ],
    "front": [
        "tank left",
        "tank right",
        "cover left",
        "cover right",
        "sill left",
        "sill right",
        "bearing left",
        "bearing right",
        "wheel top left",
        "wheel top right",
    ],
    "plan": [
        "cover front left",
        "cover front right",
        "cover rear left",
        "cover rear right",
        "hub front left",
        "hub front right",
        "hub rear left",
        "hub rear right",
        "sill tail left",
        "sill tail right",
        "vessel axis",
    ],
}
# Marked left for right in the reference of the front view.
EXCHANGED = ("sill left", "sill right")
VARIANT = "as delivered"
# What the model's next render, from the side, has right.
CORRECTED = ("lantern", "pump beam")
# And the one after it.
FINISHED = (*CORRECTED, "air vessel", "tool box")

# Beside the screen's axis, hand-held.
CAMERA = screen.Camera((1900, 1210), (16.0, 6.0, -1.5), 2100, (916, 613), 0.008)
LAMP = (1690, 180, 32, 330)
GRID = 0.22
SIDE_MARKS = 7

EARLIER_SIZE = (790, 930)
# The earlier issue's picture: pixels of full-size millimetres, turned by 1.8 degrees.
EARLIER = px.Affine(px.turn(-1.8) @ np.diag([0.64, -0.64]), [394.0, 898.0])

OLD_PLAN_SIZE = (1680, 1120)
STRETCH = 0.012
OLD_PLAN_PX_PER_MM, OLD_PLAN_TURN_DEG = 0.77, 0.6
# The old plan's scan: stretched along the paper's length, then turned.
OLD_PLAN = px.Affine(
    px.turn(OLD_PLAN_TURN_DEG) @ np.diag([OLD_PLAN_PX_PER_MM * (1 + STRETCH), -OLD_PLAN_PX_PER_MM]), [330.0, 548.0]
)
# The stain makes an eight of the three.
MISREAD = {"front track": 32.0}


def draw_render(view, parts, corrected=()):
    """The model as CAD shows it, once some of its parts are corrected."""
    canvas = px.Canvas(*RENDERS[view][0])
    for part, shapes in parts.items():
        light.paint(canvas, shapes, place_in_render(view, part, corrected), light.MODEL)
    return canvas.rgba()


def place_in_render(view, part, corrected):
    return render_of_subject(view) if part in corrected else render_of_model(view, part)


def draw_photo(parts):
    """A photo of the screen: lens blur, light, reflections, noise."""
    plane = screen.screen_plane(screen.film_picture(parts), 2)
    photo, inside = CAMERA.photograph(plane, 2, screen.with_pixel_grid(GRID))
    photo = px.blur(screen.in_room(photo, inside, LAMP), 0.6)
    noise = np.random.default_rng(SEED)
    return photo + noise.normal(0, 1.5, (*photo.shape[:2], 1)) + noise.normal(0, 0.8, photo.shape)


def draw_earlier(parts):
    """The earlier issue as it was shown on a computer: outlines, few colours, a grid on the ground."""
    width, height = EARLIER_SIZE
    canvas = px.Canvas(width, height)
    y = (np.arange(height) + 0.5)[:, None, None] / height
    canvas.rgb[:] = np.array([222, 227, 233]) - y * [44, 40, 34]
    canvas.alpha[:] = 1
    ground = EARLIER.inverse()([[0, height]])[0, 1]
    for x in range(-1500, 1501, 100):
        canvas.fill(
            EARLIER([(x - 1, 0), (x + 1, 0), (x * 1.35 + 1, ground * 1.6), (x * 1.35 - 1, ground * 1.6)]), (150, 158, 168), 0.6
        )
    canvas.fill(EARLIER([(-2000, -1), (2000, -1), (2000, 1), (-2000, 1)]), (150, 158, 168), 0.8)
    model = px.Canvas(width, height)
    for shapes in parts.values():
        light.paint(model, shapes, EARLIER, light.EARLIER)
    canvas.lay(model)
    return canvas.rgb


def draw_new_plan():
    """The present model's plan."""
    size, px_per_mm, _ = RENDERS["plan"]
    place = render_of_subject("plan")
    sheet = plan.Sheet(size, place)
    moved = {part: place.inverse().after(render_of_model("plan", part)) for part in ERRORS["plan"]}
    plan.draw_pump(sheet, moved)
    for start, end, inches, _ in (plan.dimensions()[name] for name in NEW_DIMENSIONS):
        sheet.dimension(start, end, f"{inches * pump.INCH / SCALE:.2f}")
    sheet.write((1500, -640), "model 1:24, mm", 17)
    return sheet.canvas.rgb


NEW_DIMENSIONS = ("tank length", "grips")


def draw_old_plan():
    """The plan of the earlier issue, scanned: paper, stains, a fold, ink that has faded."""
    width, height = OLD_PLAN_SIZE
    sheet = plan.Sheet(OLD_PLAN_SIZE, OLD_PLAN, (236, 226, 202), (62, 52, 46))
    plan.draw_pump(sheet)
    for start, end, inches, _ in plan.dimensions().values():
        sheet.dimension(start, end, plan.in_feet(inches))
    sheet.write((1560, -690), "first issue", 19)
    paper = sheet.canvas
    for (x, y), radius in (((1180, 640), 120), ((-130, -590), 150), ((560, 380), 80)):
        stain = OLD_PLAN(plan.disc(x, y, radius, 72))
        paper.fill(stain, (150, 112, 66), 0.10)
        paper.fill(OLD_PLAN(plan.ring(x, y, radius, radius - 7)), (120, 84, 50), 0.16)
    # The blot on the three.
    paper.fill(OLD_PLAN(plan.disc(0, 0, 1, 40) * [13, 11] + [-380, 7]), (92, 66, 44), 0.62)
    for x in (width * 0.345, width * 0.672):
        paper.fill([(x - 2, 0), (x + 1, 0), (x + 4, height), (x + 1, height)], (150, 134, 108), 0.55)
        paper.fill([(x + 1, 0), (x + 3, 0), (x + 6, height), (x + 4, height)], (250, 244, 228), 0.6)
    return paper.rgb


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


def outline(view, part, outlines):
    """The hull of a part in the render, grown by 10 px, without corners that lie less than 14 px from the one before."""
    points = np.vstack([render_of_model(view, part)(polygon) for polygon in outlines])
    square = 10 * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    kept = []
    for point in hull((points[:, None] + square).reshape(-1, 2)):
        if not kept or np.hypot(*np.subtract(point, kept[-1])) > 14:
            kept.append(point)
    return [rounded(p, 1) for p in kept]


def rounded(point, digits=2):
    return [round(float(v), digits) for v in point]


def marked(view, marks, reference_of_subject, noise):
    """The job's landmarks, and their true places."""
    landmarks, truth = [], []
    for name, (part, *point) in marks.items():
        places = {"render": render_of_model(view, part)(point), "reference": reference_of_subject(point)}
        use = "datum" if name in DATUM[view] else "check"
        clicks = {side: rounded(p + noise.normal(0, MARK_SIGMA[side], 2)) for side, p in places.items()}
        landmarks.append({"name": name, **clicks, "use": use})
        truth.append({"name": name, "part": part, **{side: rounded(p, 4) for side, p in places.items()}})
    return landmarks, truth


def regions(view, outlines, marks, extra):
    found = []
    for part in judged(view):
        on_part = [name for name, mark in marks.items() if mark[0] == part and name not in DATUM[view]]
        found.append(
            {
                "name": part,
                "outline": outline(view, part, outlines[part]),
                "landmarks": on_part,
                "anchor": true_errors(view, part)["anchor"],
                **extra.get(part, {}),
            }
        )
    return found


def judged(view):
    return [part for part in ERRORS[view] if part not in NOT_JUDGED]


def drawn_outlines(parts):
    """Outlines of the parts without their shadows."""
    return {part: [s.outline for s in shapes if not isinstance(s, light.Shadow)] for part, shapes in parts.items()}


def true_view(view, landmarks, **more):
    return {
        "name": view,
        "render_px_per_model_mm": RENDERS[view][1],
        "mark_sigma_px": MARK_SIGMA,
        **more,
        "landmarks": landmarks,
        "regions": [true_errors(view, part) for part in judged(view)],
    }


def model_mm(full_size):
    return f"{full_size / SCALE:.4f} mm"


def side_view(parts, marks, noise):
    landmarks, truth = marked("side", marks, lambda p: CAMERA.shown(screen.FRAME_OF_SUBJECT([p]))[0], noise)
    clicked = lambda points: [rounded(p + noise.normal(0, MARK_SIGMA["reference"], 2)) for p in points]
    rectify = {
        "corners": clicked(CAMERA.corners()),
        "aspect": "16:9",
        "straight_lines": [clicked(side) for side in CAMERA.sides(SIDE_MARKS)],
    }
    job = {
        "name": "side",
        "render": {"image": "side-render.png", "mark_sigma_px": MARK_SIGMA["render"]},
        "reference": {
            "image": "side-screen.jpg",
            "kind": "photo",
            "source": "screen in the exhibition hall",
            "variant": VARIANT,
            "note": "a lamp and a window are mirrored in the screen",
            "rectify": rectify,
            "mark_sigma_px": MARK_SIGMA["reference"],
        },
        "axes": {"right": "x", "down": "-z"},
        "registration": "similarity",
        "landmarks": landmarks,
        "known": [
            {"in": "reference", "from": "tank front", "to": "tank rear", "full_size": "31 1/2 in"},
            {"in": "render", "from": "tank front", "to": "tank rear", "model": model_mm(pump.TANK_LENGTH)},
            {"in": "render", "from": "sill front", "to": "sill rear", "model": model_mm(pump.SILL[2] - pump.SILL[0])},
        ],
        "spans": [
            {"name": "tank length", "from": "tank front", "to": "tank rear"},
            {"name": "height over the vessel", "from": "sill front", "to": "vessel tip"},
        ],
        "angles": [{"name": "beam slope", "from": "grip rear", "to": "grip front", "against": ["cover rear", "cover front"]}],
        "regions": regions(
            "side",
            drawn_outlines(parts),
            marks,
            {
                "lantern": {"tolerance": {"proportion_percent": 1.0}, "note": "glass as in the second photo"},
                "pump beam": {"note": "anchored at the pivot"},
                "air vessel": {
                    "tolerance": {"proportion_percent": 1.5},
                    "note": "anchored at the foot, where it stands on the tank",
                },
            },
        ),
    }
    matrix = CAMERA.rectified_from_frame.tolist()
    return job, true_view(
        "side",
        truth,
        corners=[rounded(c, 4) for c in CAMERA.corners()],
        bend=CAMERA.bend,
        photo_without_lens_from_film_picture=matrix,
        film_picture_size=list(screen.FRAME),
        film_picture_px_per_full_size_mm=screen.FILM_PX_PER_MM,
        film_picture_rotation_deg=screen.FILM_TURN_DEG,
    )


def front_view(parts, marks, noise):
    landmarks, truth = marked("front", marks, EARLIER, noise)
    a, b = (next(l for l in landmarks if l["name"] == name) for name in EXCHANGED)
    a["reference"], b["reference"] = b["reference"], a["reference"]
    job = {
        "name": "front",
        "render": {"image": "front-render.png", "mark_sigma_px": MARK_SIGMA["render"]},
        "reference": {
            "image": "front-earlier.png",
            "kind": "screenshot",
            "source": "picture of the earlier issue",
            "variant": VARIANT,
            "mark_sigma_px": MARK_SIGMA["reference"],
        },
        "axes": {"right": "-y", "down": "-z"},
        "registration": "similarity",
        "landmarks": landmarks,
        "known": [
            {"in": "reference", "from": "tank left", "to": "tank right", "full_size": "22 in"},
            {"in": "render", "from": "wheel top left", "to": "wheel top right", "model": model_mm(pump.REAR_TRACK)},
        ],
        "spans": [
            {"name": "over the lanterns", "from": "left lantern foot", "to": "right lantern heel"},
            {"name": "rear track", "from": "wheel top left", "to": "wheel top right"},
        ],
        "angles": [{"name": "grip level", "from": "grip left", "to": "grip right", "against": ["cover left", "cover right"]}],
        "regions": regions("front", drawn_outlines(parts), marks, {"air vessel": {"tolerance": {"proportion_percent": 1.5}}}),
    }
    return job, true_view("front", truth, earlier_px_per_full_size_mm=0.64, exchanged=list(EXCHANGED))


def plan_view(noise):
    marks = plan.plan_marks()
    landmarks, truth = marked("plan", marks, OLD_PLAN, noise)

    def known(side, place, sigma, name, length):
        start, end, inches, along = plan.dimensions()[name]
        clicks = [rounded(place(p) + noise.normal(0, sigma, 2)) for p in (start, end)]
        return {"in": side, "from": clicks[0], "to": clicks[1], "along": along, **length(inches)}

    of_model = lambda inches: {"model": model_mm(inches * pump.INCH)}
    lengths = [known("render", render_of_subject("plan"), MARK_SIGMA["render"], name, of_model) for name in NEW_DIMENSIONS]
    for name in plan.dimensions():
        read = lambda inches: {"full_size": plan.in_feet(MISREAD.get(name, inches))}
        lengths.append(known("reference", OLD_PLAN, MARK_SIGMA["reference"], name, read))
    job = {
        "name": "plan",
        "render": {"image": "plan-new.png", "kind": "plan", "mark_sigma_px": MARK_SIGMA["render"]},
        "reference": {
            "image": "plan-old.png",
            "kind": "plan",
            "source": "plan of the earlier issue, scanned",
            "variant": VARIANT,
            "note": "a stain on one dimension",
            "mark_sigma_px": MARK_SIGMA["reference"],
        },
        "axes": {"right": "x", "down": "-y"},
        "registration": "affine",
        "landmarks": landmarks,
        "known": lengths,
        "spans": [
            {"name": "cover length", "from": "cover front left", "to": "cover rear left"},
            {"name": "reel width", "from": "flange rear left", "to": "flange rear right"},
        ],
        "regions": regions("plan", plan.JUDGED, marks, {}),
    }
    misread = [k for k, name in enumerate(plan.dimensions()) if name in MISREAD]
    return job, true_view(
        "plan",
        truth,
        old_px_per_full_size_mm=[OLD_PLAN_PX_PER_MM * (1 + STRETCH), OLD_PLAN_PX_PER_MM],
        turned_deg=OLD_PLAN_TURN_DEG,
        stretch_percent=100 * STRETCH,
        misread={"known": len(NEW_DIMENSIONS) + misread[0], "right_mm": pump.FRONT_TRACK},
    )


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


def few_colours(pixels, count):
    """For each pixel (a list of RGB) the index of its colour, and the colours."""
    image = Image.fromarray(px.rgb8(pixels)).quantize(count, Image.Quantize.MEDIANCUT, kmeans=4, dither=Image.Dither.NONE)
    return np.asarray(image), np.reshape(image.getpalette(), (-1, 3))[:count]


def save_palette(picture, path, count):
    """A PNG of few colours: smooth shades in a third of the bytes."""
    index, colours = few_colours(picture, count)
    image = Image.fromarray(index)
    image.putpalette(colours.astype(np.uint8).tobytes())
    image.save(path, optimize=True)


# A render's colours, those of its borders, and the steps of these from clear to solid.
SOLID_COLOURS, BORDER_COLOURS, STEPS = 194, 12, 6


def save_clear(picture, path):
    """The same on a clear ground; half covered pixels have few colours and steps of alpha."""
    step = np.rint(picture[..., 3] * STEPS / 255).astype(int)
    solid, border = step == STEPS, (step > 0) & (step < STEPS)
    index = np.zeros(step.shape, np.uint8)
    of_solid, colours = few_colours(picture[solid][None, :, :3], SOLID_COLOURS)
    of_border, border_colours = few_colours(picture[border][None, :, :3], BORDER_COLOURS)
    index[solid] = 1 + of_solid[0]
    index[border] = 1 + len(colours) + (step[border] - 1) * len(border_colours) + of_border[0]
    image = Image.fromarray(index)
    image.putpalette(np.vstack([np.zeros((1, 3)), colours, *[border_colours] * (STEPS - 1)]).astype(np.uint8).tobytes())
    alphas = [0, *[255] * len(colours)]
    alphas += [round(255 * k / STEPS) for k in range(1, STEPS) for _ in border_colours]
    image.save(path, optimize=True, transparency=bytes(alphas))


def main():
    default = Path(__file__).resolve().parent.parent / "fixtures" / "demo"
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else default
    folder.mkdir(parents=True, exist_ok=True)
    side_parts, side_marks = pump.side_view()
    front_parts, front_marks = front.front_view()
    save_clear(draw_render("side", side_parts), folder / "side-render.png")
    save_clear(draw_render("side", side_parts, CORRECTED), folder / "side-corrected.png")
    save_clear(draw_render("side", side_parts, FINISHED), folder / "side-finished.png")
    save_clear(draw_render("front", front_parts), folder / "front-render.png")
    save_palette(draw_earlier(front_parts), folder / "front-earlier.png", 96)
    save_palette(draw_new_plan(), folder / "plan-new.png", 12)
    save_palette(draw_old_plan(), folder / "plan-old.png", 16)
    Image.fromarray(px.rgb8(draw_photo(side_parts))).save(folder / "side-screen.jpg", quality=78, subsampling="4:2:0")
    write_job(folder, side_parts, side_marks, front_parts, front_marks)


def write_job(folder, side_parts, side_marks, front_parts, front_marks):
    """The job, and the truth for tests."""
    noise = np.random.default_rng(SEED + 1)
    views = [side_view(side_parts, side_marks, noise), front_view(front_parts, front_marks, noise), plan_view(noise)]
    job = {
        "title": "Fire pump of a harbour town",
        "scale": f"1:{SCALE}",
        "unit": "mm",
        "tolerance": {"proportion_percent": 2.0, "offset_mm": 0.20, "angle_deg": 1.0, "edge_overlap": 0.4},
        "print": {"pixel_mm": 0.05, "layer_mm": 0.03, "viewing_distance_mm": 300},
        "views": [job for job, _ in views],
    }
    (folder / "pump.json").write_text(laid_out(job) + "\n", encoding="utf-8")
    truth = {
        "made_by": "scripts/make_demo.py",
        "definition": "u_model = R(theta) diag(1+w, 1+h) (u_subject - anchor) + anchor + offset, render px, theta clockwise",
        "views": [truth for _, truth in views],
        "corrected": {
            "render": "side-corrected.png",
            "parts": list(CORRECTED),
            "landmarks": [
                {"name": name, "render": rounded(place_in_render("side", part, CORRECTED)(point), 4)}
                for name, (part, *point) in side_marks.items()
            ],
        },
    }
    (folder / "truth.json").write_text(laid_out(truth) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
