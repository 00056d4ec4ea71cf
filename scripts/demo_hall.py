"""The exhibition hall in which the demo's pump stands, in pixels of the picture on the screen (x right, y down).

A dark ceiling, tall windows, a wall with fire buckets and framed plans, a rope around the pump, a waxed floor.
"""

import numpy as np

import demo_light as light
import demo_pixels as px
from demo_shapes import Shadow, Shape, Turned, along, ball, bar, box, disc, line, plate, rod

SIZE = (1920, 1080)
FLOOR = 842
WINDOWS = (140, 390, 1610, 1800)
PLACE = px.Affine([[1, 0], [0, -1]], [0, SIZE[1]])

MATERIALS = light.Style(
    {
        **light.HALL.materials,
        "wall": light.Material((128, 132, 120)),
        "panel": light.Material((92, 86, 72), 0.1),
        "stone": light.Material((168, 160, 142), 0.1),
        "ceiling": light.Material((58, 54, 51)),
        "sky": light.Material((240, 244, 240)),
        "print": light.Material((204, 194, 168)),
        "rope": light.Material((142, 40, 46), 0.1),
    },
    (0.6, 0.6, 0.75),
    0.4,
)


def up(y):
    """Shapes have z up."""
    return SIZE[1] - y


def window(x, top=120, width=150, height=520):
    """A tall window with a round top and bars."""
    half, spring = width / 2, up(top + width / 2)
    arc = np.linspace(0, np.pi, 25)
    arch = lambda r: np.vstack(
        [
            [(x - r, up(top + height)), (x + r, up(top + height))],
            np.column_stack([x + r * np.cos(arc), spring + r * np.sin(arc)]),
        ]
    )
    shapes = [Shape(arch(half + 22), "stone", 0.85), Shape(arch(half + 8), "stone", 0.6), Shape(arch(half), "sky", 0.92)]
    shapes += [Shape(box(x - half, up(top + height), x + half, up(top + height * 0.7)), "sky", 0.78, None, 0.5)]
    for k in (-0.5, 0, 0.5):
        shapes += [Shape(bar((x + k * width / 1.5, up(top + height)), (x + k * width / 1.5, up(top + 30)), 5), "panel", 1.0)]
    for y in np.arange(top + 90, top + height, 86):
        shapes += [Shape(box(x - half, up(y + 2), x + half, up(y - 2)), "panel", 1.0)]
    return shapes + plate(box(x - half - 34, up(top + height + 26), x + half + 34, up(top + height)), "stone", 0.95, 5)


def column(x):
    """An iron column with its capital."""
    shapes = [Shadow(box(x - 34, up(FLOOR), x + 30, up(60)), 0.3, 10), *rod((x, up(FLOOR)), (x, up(60)), 44, "panel", 1.2)]
    for y, radius, high in ((84, 40, 30), (126, 29, 14), (FLOOR - 20, 36, 30), (FLOOR, 46, 22)):
        shapes += [Shape(box(x - radius, up(y), x + radius, up(y - high)), "panel", 1.3, along((x, 0), (x, 1), radius * 1.05))]
    return shapes


def bucket(x, y):
    """A fire bucket of leather on its hook."""
    body = Turned(x, [(up(y + 64), 22), (up(y + 6), 32), (up(y), 33)])
    shapes = [Shadow(box(x - 30, up(y + 62), x + 42, up(y + 4)), 0.35, 6), *body.shapes("leather", 1.1)]
    shapes += body.band(up(y + 40), up(y + 30), 1.5, "paint", 0.9)
    rim = np.linspace(0, np.pi, 17)
    bow = np.column_stack([x + 32 * np.cos(rim), up(y) + 34 * np.sin(rim)])
    for a, b in zip(bow, bow[1:]):
        shapes += line(a, b, 4, "iron", 1.0)
    return shapes + [Shape(disc(x, up(y - 36), 5, 16), "brass", 1.0, ball(x, up(y - 36), 5))]


def framed_plan(x, y, width, height, seed):
    """A framed drawing of something on wheels, too far to read."""
    random = np.random.default_rng(seed)
    shapes = [
        Shadow(box(x, up(y + height + 6), x + width + 8, up(y)), 0.35, 6),
        *plate(box(x, up(y + height), x + width, up(y)), "oak", 1.1, 8),
    ]
    inner = box(x + 14, up(y + height - 14), x + width - 14, up(y + 14))
    shapes.append(Shape(inner, "print", 1.0))
    for k in (0.32, 0.68):
        wheel = disc(x + k * width, up(y + height * 0.66), height * 0.14, 24)
        for a, b in zip(wheel, np.roll(wheel, -1, axis=0)):
            shapes += line(a, b, 1.6, "gap", 0.6)
    for _ in range(9):
        a = np.array([x + width * random.uniform(0.18, 0.8), up(y + height * random.uniform(0.2, 0.7))])
        shapes += line(a, a + [width * random.uniform(0.04, 0.2), 0], 1.6, "gap", 0.5)
    return shapes


def post(x, y, high):
    """A brass post of the rope."""
    foot = Turned(
        x, [(up(y), 34), (up(y - 8), 32), (up(y - 14), 12), (up(y - high), 10), (up(y - high - 6), 15), (up(y - high - 12), 15)]
    )
    return [*foot.shapes("brass", 0.95), Shape(disc(x, up(y - high - 22), 15), "brass", 1.0, ball(x, up(y - high - 22), 15))]


def rope(a, b, sag):
    """A rope between two posts."""
    t = np.linspace(0, 1, 22)[:, None]
    points = np.array(a) + (np.array(b) - np.array(a)) * t - np.hstack([0 * t, 4 * sag * t * (1 - t)])
    shapes = []
    for p, q in zip(points, points[1:]):
        shapes += [Shape(bar(p - (q - p) * 0.15, q + (q - p) * 0.15, 15), "rope", 1.0, along(p, q, 8))]
    return shapes


def back_wall():
    """All that stands or hangs behind the rope."""
    shapes = [Shape(box(0, up(FLOOR), 1920, up(0)), "wall", 1.0)]
    for x in WINDOWS:
        shapes += window(x)
    shapes += [Shape(box(0, up(66), 1920, up(0)), "ceiling"), Shape(box(0, up(72), 1920, up(66)), "ceiling", 0.55)]
    shapes += [
        *plate(box(-10, up(720), 1930, up(700)), "panel", 1.15, 5),
        Shape(box(0, up(FLOOR), 1920, up(720)), "panel", 0.9),
    ]
    for x in np.arange(30, 1900, 124):
        shapes += plate(box(x, up(FLOOR - 26), x + 104, up(738)), "panel", 1.0, 6)
    shapes += plate(box(-10, up(FLOOR), 1930, up(FLOOR - 18)), "panel", 0.8, 4)
    for x in (265, 1705):
        shapes += column(x)
    for x in (1240, 1315, 1390):
        shapes += bucket(x, 262)
    shapes += line((1205, up(228)), (1425, up(228)), 9, "oak", 1.0)
    return shapes + framed_plan(640, 190, 150, 116, 1) + framed_plan(985, 200, 150, 120, 2)


def wall_light(pixels):
    """How light wall and floor are at points of the picture: daylight from the windows at the right."""
    x, y = pixels[..., 0] / SIZE[0], pixels[..., 1] / SIZE[1]
    return 0.62 + 0.30 * x + 0.16 * np.exp(-((x - 0.62) ** 2 / 0.10 + (y - 0.45) ** 2 / 0.16)) - 0.10 * (y - 0.5) ** 2


def draw_floor(canvas, at):
    """Waxed boards that run towards the eye, lighter where windows are mirrored."""
    height = SIZE[1] - FLOOR
    back = at.inverse()

    def boards(pixels):
        film = back(pixels)
        deep = (film[..., 1] - FLOOR) / height
        board = np.floor((film[..., 0] - 960) / (0.55 + 0.75 * deep) / 92)
        tone = 0.9 + 0.12 * np.sin(board * 12.9898) * np.cos(board * 4.1)
        glow = sum(np.exp(-(((film[..., 0] - x) / 120) ** 2)) for x in WINDOWS) * np.exp(-2.2 * deep)
        return (np.array([108, 78, 52]) * tone[..., None] + glow[..., None] * [52, 52, 48]).astype(np.float32)

    canvas.fill(at(np.array([(-20, FLOOR), (1940, FLOOR), (1940, 1100), (-20, 1100)], float)), boards)
    for k in range(-22, 23):
        top, low = 960 + k * 92 * 0.55, 960 + k * 92 * 1.3
        canvas.fill(
            at(np.array([(top - 0.7, FLOOR), (top + 0.7, FLOOR), (low + 1.6, 1080), (low - 1.6, 1080)])), (48, 32, 22), 0.8
        )


def draw(canvas, at):
    """The hall without the pump; `at` takes pixels of the picture to the canvas."""
    place = at.after(PLACE)
    light.paint(canvas, back_wall(), place, MATERIALS)
    draw_floor(canvas, at)
    posts = [(60, 905), (660, 890), (1270, 890), (1868, 905)]
    shapes = []
    for (xa, ya), (xb, yb) in zip(posts, posts[1:]):
        shapes += rope((xa, up(ya - 138)), (xb, up(yb - 138)), 42)
    for x, y in posts:
        shapes += [Shadow(box(x - 60, up(y + 5), x + 30, up(y - 4)), 0.4, 7), *post(x, y, 128)]
    light.paint(canvas, shapes, place, MATERIALS)
    rows, columns = np.mgrid[0 : canvas.rgb.shape[0], 0 : canvas.rgb.shape[1]]
    canvas.rgb *= wall_light(at.inverse()(np.stack([columns, rows], -1) + 0.5))[..., None].astype(np.float32)
