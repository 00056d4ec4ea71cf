"""Shapes that the demo's pump is made of: outlines in full-size millimetres, each with a material and where its surface faces.

x runs to the right, z up, and y towards the eye. A surface is a function that takes points (x, z) to normals (x, z, y): so the
same pump can stand in any light. Lists of shapes are drawn in the order given.
"""

from dataclasses import dataclass
from typing import Callable, Optional

import numpy as np


@dataclass(frozen=True)
class Shape:
    """An outline with a material, how light that is here (1: as the material is), and normals; none: it faces the eye."""

    outline: np.ndarray
    material: str
    light: float = 1.0
    normals: Optional[Callable] = None
    opacity: float = 1.0


@dataclass(frozen=True)
class Shadow:
    """Takes light from what was drawn before, softly: `reach` is the border's deviation in millimetres."""

    outline: np.ndarray
    strength: float
    reach: float


def box(x0, z0, x1, z1):
    return np.array([(x0, z0), (x1, z0), (x1, z1), (x0, z1)], float)


def bar(start, end, width, width_end=None):
    """A straight bar between two points, which may taper."""
    start, end = np.array(start, float), np.array(end, float)
    along = (end - start) / np.linalg.norm(end - start)
    half = np.array([-along[1], along[0]]) / 2
    a, b = half * width, half * (width if width_end is None else width_end)
    return np.array([start - a, end - b, end + b, start + a])


def disc(x, z, radius, corners=36):
    angle = 2 * np.pi * (np.arange(corners) + 0.5) / corners
    return np.column_stack([x + radius * np.cos(angle), z + radius * np.sin(angle)])


def ring(x, z, outer, inner, corners=96):
    """A ring as one outline with a slit."""
    a, b = disc(x, z, outer, corners), disc(x, z, inner, corners)
    return np.vstack([a, a[:1], b[:1], b[::-1]])


def stadium(x0, z0, x1, z1, corners=9):
    """A box whose shorter sides are half circles."""
    radius = min(x1 - x0, z1 - z0) / 2
    return rounded(x0, z0, x1, z1, radius * 0.999, corners)


def rounded(x0, z0, x1, z1, radius, corners=6):
    """A box with round corners."""
    quarter = np.linspace(0, np.pi / 2, corners)
    centres = [(x1 - radius, z1 - radius), (x0 + radius, z1 - radius), (x0 + radius, z0 + radius), (x1 - radius, z0 + radius)]
    arcs = [
        np.column_stack([x + radius * np.cos(quarter + k * np.pi / 2), z + radius * np.sin(quarter + k * np.pi / 2)])
        for k, (x, z) in enumerate(centres)
    ]
    return np.vstack(arcs)


def mirrored(shapes):
    """The same on the other side of x = 0."""
    turned = []
    for shape in shapes:
        outline = shape.outline * [-1, 1]
        if isinstance(shape, Shadow):
            turned.append(Shadow(outline, shape.strength, shape.reach))
            continue
        normals = shape.normals and (lambda points, of=shape.normals: of(points * [-1, 1]) * [-1, 1, 1])
        turned.append(Shape(outline, shape.material, shape.light, normals, shape.opacity))
    return turned


def normalised(x, z, y):
    n = np.stack(np.broadcast_arrays(x, z, y), -1)
    return n / np.linalg.norm(n, axis=-1, keepdims=True)


def leaning(direction, steep):
    """A plane that leans towards a direction (x, z)."""
    x, z = np.array(direction, float) / np.linalg.norm(direction) * steep
    return lambda points: np.broadcast_to(normalised(x, z, 1.0), (*points.shape[:-1], 3))


def along(start, end, radius):
    """The surface of a round bar between two points."""
    start, end = np.array(start, float), np.array(end, float)
    axis = (end - start) / np.linalg.norm(end - start)
    across = np.array([-axis[1], axis[0]])

    def normals(points):
        s = np.clip((points - start) @ across / radius, -0.98, 0.98)
        return normalised(s * across[0], s * across[1], np.sqrt(1 - s**2))

    return normals


def torus(x, z, middle, thick):
    """The surface of a tyre: `middle` is the radius of its core, `thick` its own."""

    def normals(points):
        from_hub = points - [x, z]
        radius = np.maximum(np.linalg.norm(from_hub, axis=-1), 1e-6)
        s = np.clip((radius - middle) / thick, -0.97, 0.97)
        return normalised(s * from_hub[..., 0] / radius, s * from_hub[..., 1] / radius, np.sqrt(1 - s**2))

    return normals


def ball(x, z, radius, flat=1.0):
    """The surface of a ball; below 1, `flat` makes a lens of it."""

    def normals(points):
        s = (points - [x, z]) / radius * flat
        return normalised(s[..., 0], s[..., 1], np.sqrt(np.maximum(1 - (s**2).sum(-1), 0.03)))

    return normals


class Turned:
    """A body turned on a lathe, its axis upright at `x`; `profile` has (z, radius) from the bottom up."""

    def __init__(self, x, profile):
        self.x, self.profile = x, np.array(profile, float)

    def outline(self):
        z, radius = self.profile.T
        return np.vstack([np.column_stack([self.x + radius, z]), np.column_stack([self.x - radius, z])[::-1]])

    def normals(self, points):
        z, radius = self.profile.T
        slope = np.gradient(radius, np.maximum.accumulate(z + 1e-3 * np.arange(len(z))))
        s = np.clip((points[..., 0] - self.x) / np.maximum(np.interp(points[..., 1], z, radius), 1e-6), -0.985, 0.985)
        return normalised(s, -np.clip(np.interp(points[..., 1], z, slope), -6, 6), np.sqrt(1 - s**2))

    def shapes(self, material, light=1.0):
        return [Shape(self.outline(), material, light, self.normals)]

    def band(self, low, high, out, material, light=1.0):
        """A hoop around it, `out` mm thick."""
        z, radius = self.profile.T
        around = Turned(
            self.x,
            [
                (at, np.interp(at, z, radius) + out * k)
                for at, k in ((low, 0.6), (low + 0.25 * (high - low), 1.0), (high - 0.25 * (high - low), 1.0), (high, 0.6))
            ],
        )
        return [
            Shadow(box(self.x - radius.max(), low - 5, self.x + radius.max(), high), 0.3, 3),
            *around.shapes(material, light),
        ]


def dome(low, high, radius, steps=24):
    """The profile of half an ellipsoid, from its rim up."""
    angle = np.linspace(0, np.pi / 2, steps)
    return [(low + (high - low) * np.sin(a), max(radius * np.cos(a), 0.5)) for a in angle]


def inset(outline, by):
    """The outline moved inwards by a distance."""
    points = np.asarray(outline, float)
    x, z = points.T
    sense = np.sign(x @ np.roll(z, -1) - z @ np.roll(x, -1))
    before, after = points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points
    inner = []
    for point, a, b in zip(points, before, after):
        na, nb = (sense * np.array([-v[1], v[0]]) / np.linalg.norm(v) for v in (a, b))
        inner.append(point + by * (na + nb) / (1 + na @ nb))
    return np.array(inner)


def plate(outline, material, light=1.0, rim=5, steep=1.1):
    """A flat piece with chamfered edges."""
    outline = np.asarray(outline, float)
    inner = inset(outline, rim)
    shapes = [Shape(outline, material, light * 0.9)]
    for k in range(len(outline)):
        n = (k + 1) % len(outline)
        out = (outline[k] + outline[n] - inner[k] - inner[n]) / 2
        quad = np.array([outline[k], outline[n], inner[n], inner[k]])
        shapes.append(Shape(quad, material, light, leaning(out, steep)))
    return [*shapes, Shape(inner, material, light)]


def rod(start, end, width, material, light=1.0):
    """A round bar."""
    return [Shape(bar(start, end, width), material, light, along(start, end, width / 2))]


def rivet(x, z, radius=7, material="iron", light=1.0):
    """A round head with its shadow."""
    return [
        Shadow(disc(x + radius * 0.25, z - radius * 0.35, radius * 1.1, 12), 0.45, radius * 0.35),
        Shape(disc(x, z, radius, 18), material, light, ball(x, z, radius, 0.9)),
    ]


def bolt(x, z, radius=10, material="iron", light=1.0, turned=0.3):
    """A hexagonal head on its washer."""
    angle = turned + np.pi / 3 * np.arange(6)
    head = np.column_stack([x + radius * np.cos(angle), z + radius * np.sin(angle)])
    return [
        Shadow(disc(x + radius * 0.3, z - radius * 0.4, radius * 1.3, 16), 0.45, radius * 0.35),
        Shape(disc(x, z, radius * 1.4, 24), material, light * 0.8),
        *plate(head, material, light, radius * 0.3, 0.8),
    ]


def line(start, end, width=4, material="gap", opacity=0.8):
    """A seam or an engraved line."""
    return [Shape(bar(start, end, width), material, 1.0, None, opacity)]


def planks(area, count, material, seed, upright=True):
    """Boards beside each other, no two alike, with their grain; `area` is a box's x and z, low and high."""
    x0, z0, x1, z1 = area
    random = np.random.default_rng(seed)
    shapes = [Shape(box(x0, z0, x1, z1), material)]
    low, high = (x0, x1) if upright else (z0, z1)
    start, end = (z0, z1) if upright else (x0, x1)
    at = (lambda a, b: (a, b)) if upright else (lambda a, b: (b, a))
    edges = np.linspace(low, high, count + 1)
    for a, b in zip(edges, edges[1:]):
        shapes.append(
            Shape(
                np.array([at(a, start), at(b, start), at(b, end), at(a, end)], float),
                material,
                1 + 0.09 * random.uniform(-1, 1),
            )
        )
        for k in range(3):
            middle = a + (b - a) * (k + 0.5 + 0.35 * random.uniform(-1, 1)) / 3
            cut = np.sort(start + (end - start) * random.uniform(0.0, 1.0, 2))
            shapes += line(at(middle, cut[0]), at(middle + random.uniform(-2, 2), cut[1]), 2.4, "gap", 0.22)
    for a in edges[1:-1]:
        shapes += line(at(a, start), at(a, end), 4, "gap", 0.75)
        shapes += line(at(a + 3, start), at(a + 3, end), 2.2, "shine", 0.25)
    return shapes


def spokes(hub, reach, count, width, material, first=0.0):
    """Round tapering bars around a hub, which reach from one radius to another."""
    hub, (inner, outer) = np.array(hub), reach
    shapes = []
    for angle in np.radians(first) + 2 * np.pi * np.arange(count) / count:
        towards = np.array([np.cos(angle), np.sin(angle)])
        a, b = hub + towards * inner, hub + towards * outer
        shapes += [
            Shadow(bar(a + [5, -7], b + [5, -7], width), 0.25, 5),
            Shape(bar(a, b, width * 1.25, width * 0.85), material, 1.0, along(a, b, width * 0.65)),
        ]
    return shapes


def wheel(x, z, radius, count, first=0.0):
    """A spoked wheel with an iron tyre and a brass hub."""
    tyre, felloe = radius * 0.045, radius * 0.13
    shapes = [Shadow(ring(x + 8, z - 8, radius, radius - tyre - felloe), 0.35, 9)]
    shapes += spokes((x, z), (radius * 0.14, radius - tyre - felloe * 0.8), count, radius * 0.075, "wheel", first)
    middle = radius - tyre - felloe / 2
    shapes += [
        Shape(ring(x, z, radius - tyre * 0.8, radius - tyre - felloe), "wheel", 1.0, torus(x, z, middle, felloe * 0.62)),
        Shape(ring(x, z, radius, radius - tyre), "tyre", 1.0, torus(x, z, radius - tyre / 2, tyre * 0.7)),
    ]
    for angle in np.radians(first + 180 / count) + 2 * np.pi * np.arange(0, count, 2) / count:
        shapes += rivet(x + middle * np.cos(angle), z + middle * np.sin(angle), radius * 0.02, "iron")
        cut = np.array([np.cos(angle + 0.09), np.sin(angle + 0.09)])
        shapes += line([x, z] + cut * (radius - tyre), [x, z] + cut * (radius - tyre - felloe), 3, "gap", 0.7)
    hub = radius * 0.17
    shapes += [
        Shadow(disc(x + 6, z - 6, hub * 1.05), 0.4, 7),
        Shape(disc(x, z, hub), "wheel", 0.95, ball(x, z, hub, 0.75)),
        Shape(disc(x, z, hub * 0.72), "brass", 0.9, ball(x, z, hub * 0.72, 0.5)),
        Shape(disc(x, z, hub * 0.5), "brass", 1.05, ball(x, z, hub * 0.5, 0.9)),
    ]
    return shapes + plate(disc(x, z, hub * 0.2, 6), "brass", 1.15, hub * 0.05)
