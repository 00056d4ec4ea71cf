"""Photos of a mesh: a camera, what it sees by a depth buffer, sunlight with shadows, a paved yard before a wall, noise.

It is written for the demo alone and shares nothing with how the program draws a mesh.
"""

import math

import numpy as np
from PIL import Image

FINE = 2
SUN = np.array([-0.42, -0.62, 0.66]) / np.linalg.norm([-0.42, -0.62, 0.66])
SHADOW_SIZE = 2400
WALL = 120.0
# Facets that meet at less than this are one round surface.
SMOOTH = math.cos(math.radians(30))


class Camera:
    """Looks at `target` from `distance` away, `azimuth` from x towards y, z up, turned clockwise by `roll`; degrees, pixels."""

    def __init__(self, target, distance, azimuth, elevation, roll, focal, principal):
        a, e, r = (math.radians(v) for v in (azimuth, elevation, roll))
        out = np.array([math.cos(a) * math.cos(e), math.sin(a) * math.cos(e), math.sin(e)])
        self.place = np.array(target, float) + distance * out
        right = np.cross(-out, [0, 0, 1.0])
        right /= np.linalg.norm(right)
        down = np.cross(-out, right)
        self.turn = np.array([math.cos(r) * right + math.sin(r) * down, math.cos(r) * down - math.sin(r) * right, -out])
        self.focal, self.principal = focal, np.array(principal, float)

    def project(self, points):
        """Pixels, and 1 over the depth."""
        p = (np.atleast_2d(points) - self.place) @ self.turn.T
        return self.principal + self.focal * p[:, :2] / p[:, 2:], 1 / p[:, 2]

    def rays(self, x, y):
        """Directions that are seen at places of the picture."""
        u = np.stack([(x - self.principal[0]) / self.focal, (y - self.principal[1]) / self.focal, np.ones_like(x)], axis=-1)
        return u @ self.turn


class Sun:
    """Parallel light, as a camera without perspective."""

    def __init__(self, middle, reach):
        right = np.cross(SUN, [0, 0, 1.0])
        right /= np.linalg.norm(right)
        self.axes = np.array([right, np.cross(SUN, right)])
        self.middle, self.scale = np.array(middle, float), SHADOW_SIZE / (2 * reach)

    def project(self, points):
        p = np.atleast_2d(points) - self.middle
        return p @ self.axes.T * self.scale + SHADOW_SIZE / 2, p @ SUN


class Surface:
    """All facets with a colour each and a normal at each corner."""

    def __init__(self, parts, colours):
        corners, normals, colour = [], [], []
        for name, (points, facets) in parts.items():
            own = points[facets]
            flat = np.cross(own[:, 1] - own[:, 0], own[:, 2] - own[:, 0])
            flat /= np.linalg.norm(flat, axis=1, keepdims=True) + 1e-12
            at = {}
            for k, facet in enumerate(own):
                for c in range(3):
                    at.setdefault(tuple(facet[c].round(3)), []).append(k)
            round_ones = np.empty_like(own)
            for k, facet in enumerate(own):
                for c in range(3):
                    beside = flat[at[tuple(facet[c].round(3))]]
                    mean = beside[beside @ flat[k] > SMOOTH].sum(axis=0)
                    round_ones[k, c] = mean / np.linalg.norm(mean)
            corners.append(own)
            normals.append(round_ones)
            colour.append(np.tile(colours[name], (len(own), 1)))
        self.corners, self.normals, self.colour = (np.concatenate(v) for v in (corners, normals, colour))


def buffer(view, corners, size, factor):
    """The facet seen at each place, shares of its corners there, and the depth (greater is nearer); -1 where there is none."""
    width, height = size[0] * factor, size[1] * factor
    seen = np.full((height, width), -1)
    near = np.full((height, width), -np.inf)
    shares = np.zeros((height, width, 3), np.float32)
    pixels, depth = view.project(corners.reshape(-1, 3))
    pixels, depth = (pixels * factor).reshape(-1, 3, 2), depth.reshape(-1, 3)
    for k, (p, d) in enumerate(zip(pixels, depth)):
        left, top = np.maximum(np.floor(p.min(axis=0)).astype(int), 0)
        right, bottom = np.minimum(np.ceil(p.max(axis=0)).astype(int) + 1, [width, height])
        area = (p[1, 0] - p[0, 0]) * (p[2, 1] - p[0, 1]) - (p[1, 1] - p[0, 1]) * (p[2, 0] - p[0, 0])
        if right <= left or bottom <= top or abs(area) < 1e-9:
            continue
        x, y = np.meshgrid(np.arange(left, right) + 0.5, np.arange(top, bottom) + 0.5)
        edge = lambda a, b: (p[b, 0] - p[a, 0]) * (y - p[a, 1]) - (p[b, 1] - p[a, 1]) * (x - p[a, 0])
        share = np.stack([edge(1, 2), edge(2, 0), edge(0, 1)], axis=-1) / area
        z = share @ d
        box = (slice(top, bottom), slice(left, right))
        inside = (share >= -1e-9).all(axis=-1) & (z > near[box])
        near[box][inside], seen[box][inside], shares[box][inside] = z[inside], k, share[inside]
    return seen, shares, near


def weighed(values, seen, shares, depth=None):
    """Values at the corners of facets, brought to the places where they are seen; `depth` at the corners puts perspective right."""
    share = shares[seen >= 0].astype(float)
    if depth is not None:
        share = share * depth[seen[seen >= 0]]
        share /= share.sum(axis=1, keepdims=True)
    return np.einsum("nc,ncd->nd", share, values[seen[seen >= 0]])


def ground(camera, x, y, noise):
    """Places and colours of the yard and the wall behind it."""
    rays = camera.rays(x, y)
    with np.errstate(divide="ignore", invalid="ignore"):
        floor, wall = -camera.place[2] / rays[..., 2], (WALL - camera.place[1]) / rays[..., 1]
    floor = np.where((rays[..., 2] < 0) & (floor > 0), floor, np.inf)
    wall = np.where((rays[..., 1] > 0) & (wall > 0), wall, np.inf)
    on_floor = floor < wall
    place = camera.place + rays * np.where(on_floor, floor, np.minimum(wall, 1e5))[..., None]
    stone = np.where(on_floor, place[..., 0] / 31, place[..., 0] / 26)
    row = np.where(on_floor, place[..., 1] / 23, place[..., 2] / 11)
    stone = stone + 0.5 * (np.floor(row) % 2)
    joint = np.minimum(np.abs(stone - np.round(stone)) * 30, np.abs(row - np.round(row)) * 16)
    tone = noise.normal(size=(64, 64))[np.floor(row).astype(int) % 64, np.floor(stone).astype(int) % 64]
    level = (1 + 0.05 * tone) * np.where(joint < 0.7, 0.82, 1.0)
    base = np.where(on_floor[..., None], [132, 128, 120], [118, 98, 86])
    normal = np.where(on_floor[..., None], [0.0, 0, 1], [0.0, -1, 0])
    return place, base * level[..., None], normal


def is_lit(sun, depth, places):
    """Whether the sun reaches places; half shares at the rim of a shadow."""
    at, z = sun.project(places)
    lit = np.zeros(len(places))
    for dx, dy in ((-0.7, -0.3), (0.7, 0.3), (-0.3, 0.7), (0.3, -0.7)):
        x, y = (np.floor(at + [dx, dy]).astype(int)).T
        inside = (x >= 0) & (x < SHADOW_SIZE) & (y >= 0) & (y < SHADOW_SIZE)
        nearest = np.where(inside, depth[np.clip(y, 0, SHADOW_SIZE - 1), np.clip(x, 0, SHADOW_SIZE - 1)], -np.inf)
        lit += (z > nearest - 0.35) / 4
    return lit


def photo(camera, size, surface, noise):
    """The picture, and for places in space whether the camera sees them."""
    seen, shares, near = buffer(camera, surface.corners, size, FINE)
    sun = Sun(surface.corners.reshape(-1, 3).mean(axis=0), 110)
    _, _, shadow = buffer(sun, surface.corners, (SHADOW_SIZE, SHADOW_SIZE), 1)
    y, x = np.mgrid[0 : size[1] * FINE, 0 : size[0] * FINE] + 0.5
    place, colour, normal = ground(camera, x / FINE, y / FINE, noise)
    _, depth = camera.project(surface.corners.reshape(-1, 3))
    own = seen >= 0
    place[own] = weighed(surface.corners, seen, shares, depth.reshape(-1, 3))
    normal[own] = weighed(surface.normals, seen, shares, depth.reshape(-1, 3))
    colour[own] = surface.colour[seen[own]]
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    lit = is_lit(sun, shadow, (place + 0.2 * normal).reshape(-1, 3)).reshape(own.shape)
    sky = 0.42 + 0.16 * normal[..., 2] + 0.05 * normal[..., 0]
    light = sky + 0.62 * lit * np.clip(normal @ SUN, 0, None)
    half = SUN + (camera.place - place) / np.linalg.norm(camera.place - place, axis=-1, keepdims=True)
    half /= np.linalg.norm(half, axis=-1, keepdims=True)
    shine = np.where(own, 55 * lit * np.clip((normal * half).sum(axis=-1), 0, 1) ** 30, 0)
    fine = colour * light[..., None] + shine[..., None]
    picture = fine.reshape(size[1], FINE, size[0], FINE, 3).mean(axis=(1, 3))
    for axis in (0, 1):
        # The lens is not quite sharp: 1 2 1 over 4, a deviation of 0.7 px.
        picture = (np.roll(picture, 1, axis) + 2 * picture + np.roll(picture, -1, axis)) / 4
    picture += noise.normal(size=(size[1], size[0], 1)) * 2.0 + noise.normal(size=picture.shape) * 1.5
    image = Image.fromarray(np.clip(np.round(picture), 0, 255).astype(np.uint8))

    def sees(point):
        at, z = camera.project(point)
        x, y = np.floor(at[0] * FINE).astype(int)
        around = near[max(y - 2, 0) : y + 3, max(x - 2, 0) : x + 3]
        # A corner lies at the rim of its facets: one place around it where nothing is nearer will do.
        return around.size > 0 and bool((around <= z[0] * 1.0008).any() and (around > -np.inf).any())

    return image, sees
