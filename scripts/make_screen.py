#!/usr/bin/env python3
"""Photographs the demo's screen from far off its axis through a lens with barrel distortion, and writes the flat picture beside.

Usage: python3 -m pip install -r scripts/requirements.txt && python3 scripts/make_screen.py [FOLDER]

Writes to fixtures/screen unless another folder is named. The same versions of the packages write the same bytes.
The screen shows the side view's film picture (make_demo.py). The lens moves what a perfect one would show at the distance
r_u from the middle (in half diagonals) to r with r_u = r (1 + BEND r^2): another model than the program's own, on purpose.
`truth.json` has the true corners, the marks as somebody might click them, and where points of the film picture are shown.
"""
import json
import sys
from pathlib import Path

import numpy as np
from PIL import Image

import demo_chair as chair
import demo_pixels as px
import make_demo as demo

SEED = 77
PHOTO = (800, 520)
FLAT = (640, 360)
BEND = 0.025
MARK_SIGMA = 0.5
MARKS_A_SIDE = 9


def photo_of_frame():
    """The homography of a camera 34 degrees to the side of the screen's axis and 22 below, without its lens' bend."""
    yaw, pitch, roll = np.radians([34.0, 22.0, -2.0])
    turn_y = np.array([[np.cos(yaw), 0, np.sin(yaw)], [0, 1, 0], [-np.sin(yaw), 0, np.cos(yaw)]])
    turn_x = np.array([[1, 0, 0], [0, np.cos(pitch), -np.sin(pitch)], [0, np.sin(pitch), np.cos(pitch)]])
    turn_z = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
    screen = np.array([[-0.8, -0.45, 0], [0.8, -0.45, 0], [0.8, 0.45, 0], [-0.8, 0.45, 0]])
    seen = screen @ (turn_z @ turn_x @ turn_y).T + [0, 0, 2.0]
    corners = seen[:, :2] / seen[:, 2:] * 850 + [395, 260]
    width, height = demo.FRAME
    return px.homography([(0, 0), (width, 0), (width, height), (0, height)], corners)


def straight(points):
    """Where a perfect lens would show what is seen at these points of the photo."""
    middle, half = np.array(PHOTO) / 2, np.hypot(*PHOTO) / 2
    from_middle = (np.asarray(points, float) - middle) / half
    return middle + half * from_middle * (1 + BEND * (from_middle**2).sum(-1, keepdims=True))


def bent(points):
    """The inverse of `straight`, by fixed-point steps."""
    points = np.asarray(points, float)
    found = points.copy()
    for _ in range(60):
        found += points - straight(found)
    return found


def draw_photo(plane):
    """Each pixel the mean of 4 x 4 samples; lens blur and noise."""
    frame_of_straight = np.linalg.inv(photo_of_frame())
    width, height = PHOTO
    photo = np.zeros((height, width, 3), np.float32)
    for i in range(16):
        x, y = np.meshgrid(np.arange(width) + (i % 4 + 0.5) / 4, np.arange(height) + (i // 4 + 0.5) / 4)
        places = px.project(frame_of_straight, straight(np.stack([x, y], -1)))
        u, v = places[..., 0] + demo.PLANE_MARGIN, places[..., 1] + demo.PLANE_MARGIN
        photo += px.sample(plane, u, v) / 16
    photo = px.blur(photo, 0.6)
    return px.rgb8(photo + np.random.default_rng(SEED).normal(0, 1.5, (height, width, 1)))


def draw_flat(plane):
    """The film picture alone, each pixel the mean of 3 x 3."""
    left, (width, height) = demo.PLANE_MARGIN, demo.FRAME
    film = plane[left:left + height, left:left + width].astype(float)
    return px.rgb8(film.reshape(FLAT[1], 3, FLAT[0], 3, 3).mean((1, 3)))


def rounded(points, digits):
    return np.round(np.asarray(points, float), digits).tolist()


def main():
    default = Path(__file__).resolve().parent.parent / "fixtures" / "screen"
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else default
    folder.mkdir(parents=True, exist_ok=True)
    parts, marks = chair.side_view()
    n = demo.PLANE_SCALE
    plane = demo.draw_screen_plane(parts)
    rows, columns = plane.shape[0] // n, plane.shape[1] // n
    # A film picture pixel each: the photo is coarser.
    plane = plane.reshape(rows, n, columns, n, 3).mean((1, 3), dtype=np.float32)
    Image.fromarray(draw_photo(plane)).save(folder / "photo.jpg", quality=85, subsampling="4:2:0")
    Image.fromarray(draw_flat(plane)).save(folder / "flat.jpg", quality=85, subsampling="4:2:0")
    width, height = demo.FRAME
    corners = np.array([(0, 0), (width, 0), (width, height), (0, height)], float)
    shown = lambda points: bent(px.project(photo_of_frame(), points))
    noise = np.random.default_rng(SEED + 1)
    clicked = lambda points: rounded(points + noise.normal(0, MARK_SIGMA, np.shape(points)), 1)
    along = np.linspace(0.02, 0.98, MARKS_A_SIDE)[:, None]
    lines = [clicked(shown(a + (b - a) * along)) for a, b in zip(corners, np.roll(corners, -1, axis=0))]
    places = np.array([demo.frame_of_subject((x, z)) for _, x, z in marks.values()])
    truth = {"made_by": "scripts/make_screen.py", "aspect": width / height, "film_picture_size": [width, height],
             "mark_sigma_px": MARK_SIGMA, "bend": BEND, "corners": rounded(shown(corners), 4),
             "clicked_corners": clicked(shown(corners)), "clicked_lines": lines,
             "film_picture_points": rounded(places, 4), "photo_points": rounded(shown(places), 4)}
    (folder / "truth.json").write_text(demo.laid_out(truth) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
