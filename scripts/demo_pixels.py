"""Rasters for the demo: filling polygons without bias, reducing, warping, noise.

Coordinates are continuous: the first pixel's centre is (0.5, 0.5). A polygon covers exactly the pixels whose centres lie
inside it, so that an oversampled and reduced edge lies where the polygon says (Pillow's own filling is up to a pixel off).
"""
import numpy as np


class Canvas:
    """Polygons over a background, drawn with `oversampling` pixels along each side of a final pixel."""

    def __init__(self, width, height, oversampling, background=(0, 0, 0, 0)):
        self.width, self.height, self.n = width, height, oversampling
        self.background = background
        self.shapes = []

    def fill(self, polygon, rgb):
        """Adds a polygon (even-odd rule) that is given in final pixels."""
        self.shapes.append((np.asarray(polygon, float) * self.n, np.array([*rgb, 255], np.uint8)))

    def rows(self, top, bottom):
        """The oversampled RGBA pixels of the final rows from `top` to before `bottom`."""
        first = top * self.n
        pixels = np.empty(((bottom - top) * self.n, self.width * self.n, 4), np.uint8)
        pixels[:] = self.background
        for polygon, colour in self.shapes:
            fill_rows(pixels, first, polygon, colour)
        return pixels

    def reduced(self):
        """The final picture: RGBA, the colours averaged where there is any, as floats from 0 to 255."""
        n, width = self.n, self.width
        final = np.empty((self.height, width, 4))
        for top in range(0, self.height, 60):
            bottom = min(top + 60, self.height)
            rows = self.rows(top, bottom).reshape(-1, n, width, n, 4)
            opaque = rows[..., 3] == 255
            count = opaque.sum(axis=(1, 3))
            for channel in range(3):
                total = np.where(opaque, rows[..., channel], 0).sum(axis=(1, 3), dtype=np.int64)
                final[top:bottom, :, channel] = total / np.maximum(count, 1)
            final[top:bottom, :, 3] = 255 * count / n**2
        return final


def fill_rows(pixels, first, points, colour):
    """Fills a polygon into pixels whose first row is the row `first`."""
    following = np.roll(points, -1, axis=0)
    top = max(int(np.floor(points[:, 1].min())), first)
    bottom = min(int(np.ceil(points[:, 1].max())) + 1, first + pixels.shape[0])
    y0, y1 = points[:, 1], following[:, 1]
    for row in range(top, bottom):
        y = row + 0.5
        crossed = (y0 <= y) != (y1 <= y)
        if not crossed.any():
            continue
        a, b = points[crossed], following[crossed]
        cuts = np.sort(a[:, 0] + (y - a[:, 1]) / (b[:, 1] - a[:, 1]) * (b[:, 0] - a[:, 0]))
        # A pixel's centre is its index plus a half.
        cuts = np.clip(np.ceil(cuts - 0.5).astype(int), 0, pixels.shape[1])
        for left, right in zip(cuts[::2], cuts[1::2]):
            pixels[row - first, left:right] = colour


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
    weights /= weights.sum()
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
