"""The demo's plans: the fire pump from above, drawn as lines on a sheet.

x runs aft, y to the top of the sheet, which is the left of who stands before the pump. A part hides what was drawn before it,
but for the beam, which is level here and stands in dashes over what lies below it.
"""

import numpy as np
from PIL import Image, ImageDraw, ImageFont

import demo_pixels as px
import demo_pump as pump
from demo_shapes import bar, box, disc, ring, rounded, stadium

PAPER, INK = (250, 250, 247), (38, 40, 46)


class Sheet:
    """A sheet that is drawn on; `place` takes full-size millimetres (y up) to pixels."""

    def __init__(self, size, place, paper=PAPER, ink=INK):
        self.canvas, self.place, self.paper, self.ink = px.Canvas(*size, paper), place, paper, ink

    def stroke(self, points, width=1.5, opacity=1.0, closed=False):
        """A line through points, `width` pixels wide."""
        points = self.place(points)
        following = np.roll(points, -1, axis=0) if closed else points[1:]
        for a, b in zip(points, following):
            length = np.hypot(*(b - a))
            if length > 1e-9:
                # Half a width longer at both ends: corners close.
                reach = (b - a) / length * width / 2
                self.canvas.fill(bar(a - reach * 0.8, b + reach * 0.8, width), self.ink, opacity)

    def part(self, outline, width=1.5):
        """An outline that hides what is below it."""
        self.canvas.fill(self.place(outline), self.paper)
        self.stroke(outline, width, closed=True)

    def dashed(self, points, pattern=(26, 5, 4, 5), width=0.8):
        """A line of long and short dashes through points."""
        points, at = np.asarray(points, float), 0.0
        for start, end in zip(points, points[1:]):
            length = np.linalg.norm(end - start)
            along, done = (end - start) / max(length, 1e-9), 0.0
            while done < length:
                edges = np.cumsum(pattern)
                k = int(np.searchsorted(edges, at % edges[-1], side="right"))
                step = min(edges[k] - at % edges[-1], length - done)
                if k % 2 == 0:
                    self.stroke([start + along * done, start + along * (done + step)], width, 0.7)
                at, done = at + step + 1e-9, done + step + 1e-9

    def dimension(self, start, end, words, size=17):
        """A dimension line with ticks, its length written above it or, upright, at its left."""
        start, end = np.array(start, float), np.array(end, float)
        upright = start[0] == end[0]
        self.stroke([start, end], 0.8, 0.8)
        for at in (start, end):
            self.stroke([at - 9, at + 9], 1.3)
            across = np.array((15, 0) if upright else (0, 15))
            self.stroke([at - across, at + across], 0.7, 0.7)
        out = np.array((-18, 0) if upright else (0, 18))
        self.write((start + end) / 2 + out, words, size, upright)

    def write(self, at, words, size, upright=False, anchor="middle"):
        """Words around a point, `size` pixels high."""
        mask = letters(words, size)
        if upright:
            mask = np.rot90(mask)
        height, width = mask.shape
        x, y = self.place(at)
        left = int(round(x - (width / 2 if anchor == "middle" else 0)))
        top = int(round(y - height / 2))
        part = self.canvas.rgb[top : top + height, left : left + width]
        mask = mask[: part.shape[0], : part.shape[1], None]
        part += mask * (np.array(self.ink, np.float32) - part)


def letters(words, size, times=4):
    """How far pixels are covered by words; Pillow's own font, drawn larger and reduced."""
    font = ImageFont.load_default(size * times)
    left, top, right, bottom = font.getbbox(words)
    width, height = -(-(right - left) // times) + 2, -(-(bottom - top) // times) + 2
    picture = Image.new("L", (int(width) * times, int(height) * times))
    ImageDraw.Draw(picture).text((times - left, times - top), words, fill=255, font=font)
    return np.asarray(picture.reduce(times), np.float32) / 255


def carriage(sheet):
    """Axles, wheels, draw bar and sills."""
    x0, _, x1, _ = pump.SILL
    wheels = ((pump.FRONT_HUB, pump.FRONT_TRACK, 27), (pump.REAR_HUB, pump.REAR_TRACK, 28))
    for (x, radius), track, half in wheels:
        sheet.part(box(x - 18, -track / 2 - 40, x + 18, track / 2 + 40))
        for y in (-track / 2, track / 2):
            sheet.part(rounded(x - radius, y - half, x + radius, y + half, 10))
            sheet.stroke([(x - radius + 14, y), (x + radius - 14, y)], 0.8)
            sheet.part(box(x - 36, y - half * 1.7, x + 36, y + half * 1.7))
    (xa, _), (xb, _) = pump.DRAW_BAR
    sheet.part(bar((xa + 90, 0), (xb, 0), 44, 36))
    for x in (xa - 60, -10, xb + 50):
        sheet.part(box(x - 10, -26, x + 10, 26), 1.2)
    sheet.part(stadium(xb - 27, -170, xb + 27, 170))
    for y in (-146, -34, 34, 146):
        sheet.part(box(xb - 30, y - 12, xb + 30, y + 12), 1.2)
    for y in (-215, 215):
        sheet.part(box(x0, y - 34, x1, y + 34))
    for x in (x0, x1 - 60):
        sheet.part(box(x, -262, x + 60, 262))
        for y in (-236, -110, 110, 236):
            sheet.part(disc(x + 30, y, 7, 16), 1.0)


def body():
    """Tank, air vessel, barrels and stand, without what is judged."""
    half, x0, x1 = pump.TANK_WIDTH / 2, pump.TANK_FRONT, pump.TANK_REAR
    parts = [box(x0 - 16, -half - 16, x1 + 16, half + 16), box(x0 + 8, -half + 8, x1 - 8, half - 8)]
    for x in np.linspace(x0 + 22, x1 - 22, 5):
        parts += [disc(x, y, 7, 16) for y in (-half + 22, half - 22)]
    for radius in (110, 97, 30, 12):
        parts.append(disc(pump.VESSEL_X, 0, radius, 72))
    for x in pump.BARRELS_X:
        parts += [disc(x, 0, radius, 60) for radius in (66, 52, 28)]
    x = pump.PIVOT[0]
    for side in (-1, 1):
        for a, b in ((-112, -52), (52, 112)):
            parts.append(box(x + a, min(side * 112, side * 212), x + b, max(side * 112, side * 212)))
        parts.append(box(x - 46, min(side * 122, side * 190), x + 46, max(side * 122, side * 190)))
    return parts


def beam(sheet):
    """The beam in dashes, with its shaft and grips."""
    x, reach, half = pump.PIVOT[0], pump.BEAM_REACH, pump.GRIP_LENGTH / 2
    sheet.part(box(x - 20, -222, x + 20, 222))
    sheet.part(box(x - 34, -58, x + 34, 58))
    arms = [
        (x - reach + 25, -30),
        (x - 160, -44),
        (x + 160, -44),
        (x + reach - 25, -30),
        (x + reach - 25, 30),
        (x + 160, 44),
        (x - 160, 44),
        (x - reach + 25, 30),
    ]
    for outline in (arms, *(stadium(x + at - 25, -half, x + at + 25, half) for at in (-reach, reach))):
        sheet.dashed([*outline, outline[0]], (9, 4), 0.9)


def lantern(y):
    """A lantern and what stands on it."""
    x = pump.LANTERN_X
    return [box(x - 85, y - 78, x + 85, y + 78), disc(x, y, 66, 60), disc(x, y, 42, 48), disc(x, y, 12, 24)]


def tool_box():
    x0, _, x1, _ = pump.TOOL_BOX
    parts = [box(x0 - 7, -179, x1 + 7, 179), box(x0 + 8, -164, x1 - 8, 164)]
    return parts + [box(x1 - 30, y - 8, x1 + 7, y + 8) for y in (-115, 115)] + [box(x0 - 7, -18, x0 + 26, 18)]


def hose_reel():
    x, _, radius = pump.REEL
    parts = [box(x - 34, -190, x + 34, 190), box(x - radius + 20, -134, x + radius - 20, 134)]
    parts += [box(x - radius + 20, y, x + radius - 20, y + 26.8) for y in np.arange(-134, 133, 26.8)]
    return [
        *parts,
        box(x - radius, 134, x + radius, 160),
        box(x - radius, -160, x + radius, -134),
        box(x - 20, -200, x + 20, 200),
    ]


# What is judged, in drawing order with the rest: a part's name and its outlines.
JUDGED = {
    "left lantern": lantern(pump.LANTERN_Y),
    "right lantern": lantern(-pump.LANTERN_Y),
    "tool box": tool_box(),
    "hose reel": hose_reel(),
}


def draw_pump(sheet, moved=None):
    """The pump from above; `moved` has maps of full-size millimetres for the parts that an issue has elsewhere."""
    carriage(sheet)
    for side in (-1, 1):
        sheet.part(bar((pump.TANK_FRONT, side * 262), (pump.LANTERN_X, side * pump.LANTERN_Y), 40))
    for outline in body():
        sheet.part(outline)
    for name, outlines in JUDGED.items():
        move = (moved or {}).get(name, lambda points: np.asarray(points, float))
        for outline in outlines:
            sheet.part(move(outline))
    beam(sheet)
    sheet.dashed([(-270, 0), (1540, 0)])
    for x, reach in ((pump.FRONT_HUB[0], 420), (pump.REAR_HUB[0], 500)):
        sheet.dashed([(x, -reach), (x, reach)])


def plan_marks():
    """The points that are marked: name -> (part, x, y)."""
    marks = {}
    half = pump.TANK_WIDTH / 2 + 16
    for end, x in (("front", pump.TANK_FRONT - 16), ("rear", pump.TANK_REAR + 16)):
        marks[f"cover {end} left"], marks[f"cover {end} right"] = ("tank", x, half), ("tank", x, -half)
    for end, x, y in (
        ("front", pump.FRONT_HUB[0], pump.FRONT_TRACK / 2 + 45.9),
        ("rear", pump.REAR_HUB[0], pump.REAR_TRACK / 2 + 47.6),
    ):
        marks[f"hub {end} left"], marks[f"hub {end} right"] = ("wheels", x + 36, y), ("wheels", x + 36, -y)
    marks["sill tail left"], marks["sill tail right"] = ("sills", pump.SILL[2], 262.0), ("sills", pump.SILL[2], -262.0)
    marks["vessel axis"] = ("vessel", pump.VESSEL_X, 0.0)
    x, y = pump.LANTERN_X, pump.LANTERN_Y
    for name, side in (("left", 1), ("right", -1)):
        for corner, a, b in (("front out", -85, 78), ("front in", -85, -78), ("rear in", 85, -78), ("rear out", 85, 78)):
            marks[f"{name} lantern {corner}"] = (f"{name} lantern", x + a, side * (y + b))
    for end, x in (("front", pump.TOOL_BOX[0] - 7), ("rear", pump.TOOL_BOX[2] + 7)):
        marks[f"lid {end} left"], marks[f"lid {end} right"] = ("tool box", x, 179.0), ("tool box", x, -179.0)
    x, _, radius = pump.REEL
    for end, at in (("front", x - radius), ("rear", x + radius)):
        marks[f"flange {end} left"], marks[f"flange {end} right"] = ("hose reel", at, 160.0), ("hose reel", at, -160.0)
    return marks


def dimensions():
    """What the plan states: name -> ends and where it is written, in full-size millimetres; inches; along x or y."""
    x0, _, x1, _ = pump.SILL
    rear, grip, tank = pump.REAR_TRACK / 2, pump.GRIP_LENGTH / 2, pump.TANK_WIDTH / 2
    beam = (pump.PIVOT[0] - pump.BEAM_REACH, pump.PIVOT[0] + pump.BEAM_REACH)
    front = pump.FRONT_TRACK / 2
    return {
        "tank length": ((pump.TANK_FRONT, 590), (pump.TANK_REAR, 590), 31.5, "x"),
        "sills": ((x0, 650), (x1, 650), 51.5, "x"),
        "wheelbase": ((pump.FRONT_HUB[0], -590), (pump.REAR_HUB[0], -590), 29.25, "x"),
        "beam": ((beam[0], -650), (beam[1], -650), 49.0, "x"),
        "rear track": ((1590, -rear), (1590, rear), 33.0, "y"),
        "grips": ((1650, -grip), (1650, grip), 41.0, "y"),
        "tank width": ((-300, -tank), (-300, tank), 22.0, "y"),
        "front track": ((-360, -front), (-360, front), 27.0, "y"),
    }


def in_feet(inches):
    """As drawings write it: 2' 7 1/2\"."""
    feet, rest = divmod(inches, 12)
    whole, quarters = divmod(round(rest * 4), 4)
    part = ["", " 1/4", " 1/2", " 3/4"][quarters]
    return f"{int(feet)}' {whole}{part}\""
