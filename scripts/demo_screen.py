"""The screen in the exhibition hall: the picture of the full-size pump on it, and photographs of the screen.

A photograph sees the plane of the screen through a camera beside its axis and a lens with barrel distortion, which moves what a
perfect one would show at the distance r_u from the middle (in half diagonals) to r with r_u = r (1 + bend r^2).
"""

import numpy as np

import demo_hall as hall
import demo_light as light
import demo_pixels as px
import demo_pump as pump
from demo_shapes import box, disc

# The picture on the screen, and the pitch of the mask of its tube in pixels of the picture.
FRAME = hall.SIZE
PITCH = 3
FILM_PX_PER_MM, FILM_TURN_DEG = 0.70, 1.2
MARGIN = 340

# The camera on its stand was not level; in the film picture the pump's middle is the picture's.
FRAME_OF_SUBJECT = px.Affine(px.turn(FILM_TURN_DEG) @ np.diag([FILM_PX_PER_MM, -FILM_PX_PER_MM]), [519.0, 1000.0])


class Camera:
    """A photograph of the screen: size, the view (degrees), the focal length (pixels), where the axis pierces it, its bend."""

    def __init__(self, size, yaw_pitch_roll, focal, middle, bend):
        self.size, self.bend = size, bend
        yaw, pitch, roll = np.radians(yaw_pitch_roll)
        turn_y = np.array([[np.cos(yaw), 0, np.sin(yaw)], [0, 1, 0], [-np.sin(yaw), 0, np.cos(yaw)]])
        turn_x = np.array([[1, 0, 0], [0, np.cos(pitch), -np.sin(pitch)], [0, np.sin(pitch), np.cos(pitch)]])
        turn_z = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
        screen = np.array([[-0.8, -0.45, 0], [0.8, -0.45, 0], [0.8, 0.45, 0], [-0.8, 0.45, 0]])
        seen = screen @ (turn_z @ turn_x @ turn_y).T + [0, 0, 2.0]
        width, height = FRAME
        self.rectified_from_frame = px.homography(
            [(0, 0), (width, 0), (width, height), (0, height)], seen[:, :2] / seen[:, 2:] * focal + middle
        )

    def straight(self, points):
        """Where a perfect lens would show what is seen at these points of the photo."""
        middle, half = np.array(self.size) / 2, np.hypot(*self.size) / 2
        from_middle = (np.asarray(points, float) - middle) / half
        return middle + half * from_middle * (1 + self.bend * (from_middle**2).sum(-1, keepdims=True))

    def bent(self, points):
        """The inverse of `straight`, by fixed-point steps."""
        points = np.asarray(points, float)
        found = points.copy()
        for _ in range(60):
            found += points - self.straight(found)
        return found

    def shown(self, points):
        """Where points of the film picture are in the photo."""
        return self.bent(px.project(self.rectified_from_frame, points))

    def corners(self):
        width, height = FRAME
        return self.shown(np.array([(0, 0), (width, 0), (width, height), (0, height)], float))

    def sides(self, count):
        """Points along each side of the screen's picture."""
        width, height = FRAME
        corners = np.array([(0, 0), (width, 0), (width, height), (0, height)], float)
        along = np.linspace(0.02, 0.98, count)[:, None]
        return [self.shown(a + (b - a) * along) for a, b in zip(corners, np.roll(corners, -1, axis=0))]

    def photograph(self, plane, scale, see=None):
        """Each pixel the mean of 4 x 4 samples of the plane, `scale` pixels of it to one of the film picture.

        `see` changes the samples: it is given their colours, their places in the film picture, and which lie on the screen.
        """
        bezel_of_rectified = np.linalg.inv(self.rectified_from_frame)
        width, height = self.size
        photo, screen = np.zeros((height, width, 3), np.float32), np.zeros((height, width, 1), np.float32)
        for i in range(16):
            x, y = np.meshgrid(np.arange(width) + (i % 4 + 0.5) / 4, np.arange(height) + (i // 4 + 0.5) / 4)
            places = px.project(bezel_of_rectified, self.straight(np.stack([x, y], -1)))
            colour = px.sample(plane, (places[..., 0] + MARGIN) * scale, (places[..., 1] + MARGIN) * scale)
            inside = ((places > 0) & (places < FRAME)).all(-1)[..., None]
            photo += (see(colour, places, inside) if see else colour) / 16
            screen += inside.astype(np.float32) / 16
        return photo, screen


def film_picture(parts):
    """The picture on the screen: the pump in the hall, one pixel each of the screen's own, from 2 x 2 samples."""
    width, height = FRAME
    canvas = px.Canvas(width, height, (0, 0, 0))
    at = px.Affine(np.eye(2), [0, 0])
    hall.draw(canvas, at)
    # The hall lies beyond the depth of field.
    canvas.rgb = px.blur(canvas.rgb, 4.0)
    mirror = px.Canvas(width, height)
    below = px.Affine(FRAME_OF_SUBJECT.matrix @ np.diag([1, -1]), FRAME_OF_SUBJECT.offset)
    for shapes in parts.values():
        light.paint(mirror, shapes, below, light.HALL)
    mirror.rgb, mirror.alpha = px.blur(mirror.rgb, 3.0), px.blur(mirror.alpha, 3.0)
    canvas.lay(mirror, 0.22)
    for (x, _), reach in ((pump.FRONT_HUB, 200), (pump.REAR_HUB, 230), ((720, 0), 620)):
        canvas.darken(FRAME_OF_SUBJECT(disc(0, 0, 1, 48) * [reach, 26] + [x - 60, -6]), 0.42, 14)
    subject = px.Canvas(width, height)
    for shapes in parts.values():
        light.paint(subject, shapes, FRAME_OF_SUBJECT, light.HALL)
    canvas.lay(subject)
    return graded(canvas.rgb)


def graded(picture):
    """Warm light, darker corners, soft highlights."""
    height, width = picture.shape[:2]
    y, x = (np.mgrid[0:height, 0:width].astype(np.float32) + 0.5) / np.array([height, width], np.float32).reshape(2, 1, 1) - 0.5
    fall = 1.05 - 0.75 * (x**2 + y**2)
    bloom = px.blur(np.maximum(picture - 190, 0), 9.0)
    picture = (picture + 0.5 * bloom) * fall[..., None] * np.array([1.04, 1.0, 0.93], np.float32)
    return np.clip(picture, 0, 255)


def screen_plane(film, scale):
    """The plane of the screen with its bezel and the room around, `scale` pixels a pixel of the film picture."""
    width, height = FRAME
    room = (24, 21, 22)
    canvas = px.Canvas((width + 2 * MARGIN) * scale, (height + 2 * MARGIN) * scale, room)
    at = px.Affine(np.eye(2) * scale, [MARGIN * scale, MARGIN * scale])
    fill = lambda outline, rgb: canvas.fill(at(outline), rgb)
    fill(box(-340, height + 150, width + 340, height + 162), (50, 42, 36))
    fill(box(-340, height + 162, width + 340, height + 340), (36, 30, 27))
    for grow, rgb in ((58, (70, 72, 76)), (52, (96, 98, 102)), (14, (58, 59, 62))):
        fill(box(-grow, -grow, width + grow, height + grow), rgb)
    fill(disc(1880, height + 33, 7), (210, 60, 40))
    shown = film.repeat(scale, 0).repeat(scale, 1)
    canvas.rgb[MARGIN * scale : (MARGIN + height) * scale, MARGIN * scale : (MARGIN + width) * scale] = shown
    return canvas.rgb


def with_pixel_grid(strength):
    """Dark gaps between the screen's own pixels, which the photo's pixels beat with."""

    def see(colour, places, inside):
        gaps = np.cos(np.pi * places / PITCH) ** 4
        grid = 1 + strength * (0.375 - gaps).sum(-1, keepdims=True)
        return np.where(inside, colour * grid.astype(np.float32), colour)

    return see


def in_room(photo, screen, lamp):
    """Uneven brightness, the screen's glow, and a lamp and a window mirrored in it."""
    height, width = photo.shape[:2]
    x, y = np.meshgrid((np.arange(width) + 0.5) / width, (np.arange(height) + 0.5) / height)
    fall = 1.06 - 0.20 * x - 0.10 * y + 0.10 * np.sin(2.2 * x + 0.6)
    glow = 10 * np.exp(-((x - 0.5) ** 2 / 0.25 + (y - 0.5) ** 2 / 0.2))
    panes = np.zeros((height, width, 1), np.float32)
    for left in (1400, 1550):
        for top in (230, 370):
            panes[top : top + 120, left : left + 130] = 1
    reflection = px.blur(panes, 22.0)[..., 0] * 24
    column, row, radius, strength = lamp
    reflection = reflection + strength * np.exp(-((x * width - column) ** 2 + (y * height - row) ** 2) / (2 * radius**2))
    photo = photo * fall[..., None] + glow[..., None] * (0.6 + 0.4 * (1 - screen)) + 6 * screen
    return (photo + reflection[..., None] * screen * np.array([0.96, 1.0, 1.04])).astype(np.float32)
