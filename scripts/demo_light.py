"""Light and materials for the demo's shapes: one pump, as a model on a computer, in a hall, and as its earlier issue."""

from dataclasses import dataclass

import numpy as np

import demo_pixels as px
from demo_shapes import Shadow


@dataclass(frozen=True)
class Material:
    """Colour, how far it shines (0 to 1), and how far it mirrors what is around like bare metal (0 to 1)."""

    colour: tuple
    shine: float = 0.1
    metal: float = 0.0


@dataclass(frozen=True)
class Style:
    """Materials by name, and the light on them: where it comes from (x, z, y), and how much comes from everywhere."""

    materials: dict
    towards: tuple
    ambient: float
    outline: float = 0.0

    def colours(self, shape, points):
        """RGB of a shape at these points."""
        material = self.materials[shape.material]
        base = np.array(material.colour, np.float32) * shape.light
        if shape.normals is None:
            return base
        n = shape.normals(points)
        light = np.array(self.towards) / np.linalg.norm(self.towards)
        facing = np.clip(n @ light, 0, 1)
        # What faces the eye is as light as its material.
        plain = self.ambient + (1 - self.ambient) * facing / light[2]
        value = (1 - material.metal) * plain + material.metal * self.mirrored(n)
        halfway = light + [0, 0, 1]
        gloss = np.clip(n @ (halfway / np.linalg.norm(halfway)), 0, 1) ** 38
        return (base * value[..., None] + 190 * material.shine * gloss[..., None]).astype(np.float32)

    def mirrored(self, n):
        """How light that is what a bare metal mirrors: a window at the light's side, a dark floor, dim walls."""
        right, up = 2 * n[..., 2] * n[..., 0] * np.sign(self.towards[0]), 2 * n[..., 2] * n[..., 1]
        window = np.exp(-(((right - 0.62) / 0.22) ** 2)) + 0.4 * np.exp(-(((right + 0.75) / 0.16) ** 2))
        return 0.72 + 0.62 * window + 0.34 * np.tanh(2.5 * up) + 0.28 * n[..., 2] ** 4 - 0.22 * (1 - n[..., 2])


def paint(canvas, shapes, place, style):
    """Draws shapes; `place` (an affine map) takes full-size millimetres to pixels."""
    back = place.inverse()
    for shape in shapes:
        outline = place(shape.outline)
        if isinstance(shape, Shadow):
            canvas.darken(outline, shape.strength, max(shape.reach * place.scale(), 0.4))
            continue
        colour = (
            style.colours(shape, None)
            if shape.normals is None
            else (lambda pixels, shape=shape: style.colours(shape, back(pixels)))
        )
        canvas.fill(outline, colour, shape.opacity)
        if style.outline and shape.opacity == 1:
            draw_outline(canvas, outline, style.outline)


def draw_outline(canvas, outline, width):
    """The border of a shape as a thin dark line, without that of what is too small for it."""
    if np.ptp(outline, axis=0).max() < 8 * width:
        return
    for a, b in zip(outline, np.roll(outline, -1, axis=0)):
        along = b - a
        length = np.hypot(*along)
        if length > 1e-6:
            half = np.array([-along[1], along[0]]) / length * width / 2
            canvas.fill([a - half, b - half, b + half, a + half], (40, 44, 52), 0.5)


MODEL = Style(
    {
        "iron": Material((104, 110, 118), 0.15, 0.5),
        "paint": Material((150, 62, 52), 0.25),
        "wheel": Material((168, 82, 66), 0.1),
        "tyre": Material((92, 96, 102), 0.1, 0.3),
        "oak": Material((176, 138, 96), 0.1),
        "pine": Material((196, 166, 122), 0.08),
        "brass": Material((206, 168, 92), 0.35, 0.55),
        "copper": Material((196, 116, 82), 0.35, 0.55),
        "canvas": Material((204, 194, 170), 0.03),
        "glass": Material((176, 200, 206), 0.15),
        "flame": Material((246, 206, 120)),
        "gap": Material((46, 40, 38)),
        "shine": Material((250, 244, 232)),
        "leather": Material((110, 74, 52), 0.2),
    },
    (-0.45, 0.7, 0.85),
    0.42,
)

HALL = Style(
    {
        "iron": Material((62, 64, 66), 0.2, 0.55),
        "paint": Material((152, 34, 28), 0.45),
        "wheel": Material((172, 48, 34), 0.12),
        "tyre": Material((60, 60, 62), 0.15, 0.4),
        "oak": Material((126, 82, 48), 0.25),
        "pine": Material((152, 110, 66), 0.2),
        "brass": Material((212, 164, 74), 0.55, 0.75),
        "copper": Material((188, 96, 58), 0.55, 0.75),
        "canvas": Material((176, 158, 122), 0.05),
        "glass": Material((150, 166, 160), 0.5),
        "flame": Material((255, 214, 120)),
        "gap": Material((28, 20, 18)),
        "shine": Material((255, 236, 206)),
        "leather": Material((74, 44, 30), 0.3),
    },
    (0.6, 0.6, 0.75),
    0.3,
)

EARLIER = Style(
    {
        "iron": Material((112, 120, 132)),
        "paint": Material((126, 140, 160)),
        "wheel": Material((140, 152, 170)),
        "tyre": Material((92, 100, 114)),
        "oak": Material((164, 170, 178)),
        "pine": Material((182, 186, 192)),
        "brass": Material((196, 190, 158), 0.1),
        "copper": Material((178, 160, 150), 0.1),
        "canvas": Material((206, 206, 200)),
        "glass": Material((190, 208, 220), 0.05),
        "flame": Material((226, 214, 176)),
        "gap": Material((66, 72, 84)),
        "shine": Material((236, 240, 246)),
        "leather": Material((128, 124, 126)),
    },
    (0.1, 0.8, 0.8),
    0.55,
    0.7,
)
