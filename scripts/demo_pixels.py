"""Rasters for the demo: laying polygons over each other without bias, warping, blurring.

Coordinates are continuous: the first pixel's centre is (0.5, 0.5). A polygon covers each pixel by the part of its area that
lies inside, so that an edge lies where the polygon says (Pillow's own filling is up to a pixel off). Parts of a pixel are
exact along x and taken from eight lines along y.
"""

import numpy as np

LINES = 8


class Affine:
    """A map of points of the plane: `matrix @ p + offset`."""

    def __init__(self, matrix, offset):
        self.matrix, self.offset = np.asarray(matrix, float), np.asarray(offset, float)

    def __call__(self, points):
        return np.asarray(points, float) @ self.matrix.T + self.offset

    def after(self, first):
        """`first`, and then this one."""
        return Affine(self.matrix @ first.matrix, self.matrix @ first.offset + self.offset)

    def inverse(self):
        back = np.linalg.inv(self.matrix)
        return Affine(back, -back @ self.offset)

    def scale(self):
        return abs(np.linalg.det(self.matrix)) ** 0.5


def turn(degrees):
    """The matrix of a turn: clockwise where y runs down."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[c, -s], [s, c]])


class Canvas:
    """Colours (times alpha, 0 to 255) and alpha (0 to 1) of a picture."""

    def __init__(self, width, height, background=None):
        self.rgb = np.zeros((height, width, 3), np.float32)
        self.alpha = np.zeros((height, width, 1), np.float32)
        if background is not None:
            self.rgb[:], self.alpha[:] = background, 1

    def fill(self, polygon, colour, opacity=1.0):
        """Lays a polygon (even-odd rule) over the picture; `colour` is an RGB or gives one at pixel centres (x, y)."""
        covered = coverage(polygon, self.alpha.shape[1], self.alpha.shape[0])
        if covered is None:
            return
        rows, columns, cover = covered
        if callable(colour):
            y, x = np.mgrid[rows, columns] + 0.5
            colour = colour(np.stack([x, y], -1))
        cover = cover[..., None] * np.float32(opacity)
        self.rgb[rows, columns] += cover * (np.asarray(colour, np.float32) - self.rgb[rows, columns])
        # Colours of what is transparent count for nothing: they are zero.
        self.alpha[rows, columns] += cover * (1 - self.alpha[rows, columns])

    def darken(self, polygon, strength, sigma):
        """Takes light from what is there below a polygon with a soft border."""
        grown = int(np.ceil(3 * sigma)) + 1
        polygon = np.asarray(polygon, float)
        height, width = self.alpha.shape[:2]
        covered = coverage(polygon + grown, width + 2 * grown, height + 2 * grown)
        if covered is None:
            return
        rows, columns, cover = covered
        soft = blur(np.pad(cover, grown), sigma)
        top, left = rows.start - 2 * grown, columns.start - 2 * grown
        inside = [slice(max(at, 0), min(at + n, most)) for at, n, most in zip((top, left), soft.shape, (height, width))]
        if any(i.start >= i.stop for i in inside):
            return
        part = soft[inside[0].start - top : inside[0].stop - top, inside[1].start - left : inside[1].stop - left]
        self.rgb[tuple(inside)] *= 1 - np.float32(strength) * part[..., None]

    def lay(self, other, opacity=1.0):
        """Lays another picture of the same size over this one."""
        left = 1 - opacity * other.alpha
        self.rgb = self.rgb * left + opacity * other.rgb
        self.alpha = self.alpha * left + opacity * other.alpha

    def rgba(self):
        """Plain colours and alpha, all from 0 to 255."""
        plain = self.rgb / np.maximum(self.alpha, 1e-6)
        return np.concatenate([plain, 255 * self.alpha], -1)


def coverage(polygon, width, height):
    """Rows and columns that a polygon touches, as slices, and the part of each of their pixels inside it."""
    points = np.asarray(polygon, float)
    low, high = np.floor(points.min(0)).astype(int), np.ceil(points.max(0)).astype(int)
    left, right = max(low[0], 0), min(high[0], width)
    top, bottom = max(low[1], 0), min(high[1], height)
    if left >= right or top >= bottom:
        return None
    columns = np.arange(left, right)
    cover = np.empty((bottom - top, right - left), np.float32)
    for start in range(top, bottom, 64):
        stop = min(start + 64, bottom)
        y = start + (np.arange((stop - start) * LINES) + 0.5) / LINES
        of_lines = sum(np.clip(b[:, None] - columns, 0, 1) - np.clip(a[:, None] - columns, 0, 1) for a, b in cuts(points, y))
        cover[start - top : stop - top] = np.reshape(of_lines, (stop - start, LINES, -1)).mean(1)
    return slice(top, bottom), slice(left, right), cover


def cuts(points, y):
    """Where lines at these heights are inside a polygon: pairs of arrays, from and to."""
    following = np.roll(points, -1, axis=0)
    y0, y1, y = points[:, 1], following[:, 1], y[:, None]
    crossed = (y0 <= y) != (y1 <= y)
    rise = np.where(y1 == y0, 1, y1 - y0)
    x = np.where(crossed, points[:, 0] + (y - y0) / rise * (following[:, 0] - points[:, 0]), np.inf)
    most = crossed.sum(1).max()
    x = np.sort(x, 1)[:, : most + most % 2]
    return [(x[:, k], x[:, k + 1]) for k in range(0, x.shape[1] - 1, 2)] or [(np.zeros(len(y)), np.zeros(len(y)))]


def sample(picture, x, y):
    """Bilinear values of a picture at continuous coordinates; outside, the nearest edge pixel."""
    height, width = picture.shape[:2]
    x, y = np.clip(x - 0.5, 0, width - 1.001), np.clip(y - 0.5, 0, height - 1.001)
    column, row = x.astype(int), y.astype(int)
    u, v = (x - column)[..., None].astype(np.float32), (y - row)[..., None].astype(np.float32)
    above = picture[row, column] * (1 - u) + picture[row, column + 1] * u
    below = picture[row + 1, column] * (1 - u) + picture[row + 1, column + 1] * u
    return above * (1 - v) + below * v


def blur(picture, sigma):
    """Gaussian blur of the first two axes; the edge pixels are repeated."""
    radius = int(np.ceil(3 * sigma))
    weights = np.exp(-0.5 * (np.arange(-radius, radius + 1) / sigma) ** 2)
    weights = (weights / weights.sum()).astype(picture.dtype)
    for axis in (0, 1):
        pad = [(radius, radius) if a == axis else (0, 0) for a in range(picture.ndim)]
        padded = np.pad(picture, pad, mode="edge")
        length = picture.shape[axis]
        picture = sum(w * np.take(padded, range(i, i + length), axis) for i, w in enumerate(weights))
    return picture


def homography(source, target):
    """The 3 x 3 matrix that takes four source points to four target points."""
    rows, right = [], []
    for (x, y), (u, v) in zip(source, target):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    return np.append(np.linalg.solve(np.array(rows, float), np.array(right, float)), 1).reshape(3, 3)


def project(matrix, points):
    """The images of points (last axis: x, y)."""
    points = np.asarray(points, float)
    x = matrix @ np.vstack([points.reshape(-1, 2).T, np.ones(points.size // 2)])
    return (x[:2] / x[2]).T.reshape(points.shape)


def rgb8(picture):
    """Rounded to 8 bits."""
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8)
