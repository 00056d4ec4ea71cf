#!/usr/bin/env python3
"""Photographs the demo's screen from far off its axis through a lens with barrel distortion; writes the flat picture beside.

Usage: python3 -m pip install -r scripts/requirements.txt && python3 scripts/make_screen.py [FOLDER]

Writes to fixtures/screen unless another folder is named. The same versions of the packages write the same bytes.
The screen shows the side view's film picture (demo_screen.py). The lens bends by another model than the program's own, on
purpose. `truth.json` has the true corners, the marks as somebody might click them, and where points of the film picture are
shown.
"""

import sys
from pathlib import Path

import numpy as np
from PIL import Image

import demo_pixels as px
import demo_pump as pump
import demo_screen as screen
from make_demo import laid_out

SEED = 77
FLAT = (640, 360)
MARK_SIGMA = 0.5
MARKS_A_SIDE = 9
# 34 degrees to the side of the screen's axis and 22 below.
CAMERA = screen.Camera((800, 520), (34.0, 22.0, -2.0), 850, (395, 260), 0.025)


def draw_photo(film):
    """Lens blur and noise."""
    photo, _ = CAMERA.photograph(screen.screen_plane(film, 1), 1)
    photo = px.blur(photo, 0.6)
    return px.rgb8(photo + np.random.default_rng(SEED).normal(0, 1.5, (*photo.shape[:2], 1)))


def draw_flat(film):
    """The film picture alone, each pixel the mean of 3 x 3."""
    return px.rgb8(film.reshape(FLAT[1], 3, FLAT[0], 3, 3).mean((1, 3)))


def rounded(points, digits):
    return np.round(np.asarray(points, float), digits).tolist()


def main():
    default = Path(__file__).resolve().parent.parent / "fixtures" / "screen"
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else default
    folder.mkdir(parents=True, exist_ok=True)
    parts, marks = pump.side_view()
    film = screen.film_picture(parts)
    Image.fromarray(draw_photo(film)).save(folder / "photo.jpg", quality=85, subsampling="4:2:0")
    Image.fromarray(draw_flat(film)).save(folder / "flat.jpg", quality=85, subsampling="4:2:0")
    noise = np.random.default_rng(SEED + 1)
    clicked = lambda points: rounded(points + noise.normal(0, MARK_SIGMA, np.shape(points)), 1)
    width, height = screen.FRAME
    lines = [clicked(side) for side in CAMERA.sides(MARKS_A_SIDE)]
    places = np.array([screen.FRAME_OF_SUBJECT(point) for _, *point in marks.values()])
    truth = {
        "made_by": "scripts/make_screen.py",
        "aspect": width / height,
        "film_picture_size": [width, height],
        "mark_sigma_px": MARK_SIGMA,
        "bend": CAMERA.bend,
        "corners": rounded(CAMERA.corners(), 4),
        "clicked_corners": clicked(CAMERA.corners()),
        "clicked_lines": lines,
        "film_picture_points": rounded(places, 4),
        "photo_points": rounded(CAMERA.shown(places), 4),
    }
    (folder / "truth.json").write_text(laid_out(truth) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
