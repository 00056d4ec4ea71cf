"""The hand-worked fire pump of a harbour town on its carriage, from the side, in full-size millimetres.

x runs from the draw bar (left) aft, z up from the ground. `side_view` gives parts in drawing order, each a list of shapes, and
the points that are marked: name -> (part, x, z). What other views share with this one stands above it.
"""

import numpy as np

from demo_shapes import (
    Shadow,
    Shape,
    Turned,
    along,
    ball,
    bar,
    bolt,
    box,
    disc,
    dome,
    line,
    planks,
    plate,
    ring,
    rivet,
    rod,
    rounded,
    spokes,
    torus,
    wheel,
)

INCH = 25.4
# Lengths that drawings of the subject state are whole quarters of an inch.
TANK_FRONT, TANK_LENGTH, TANK_WIDTH = 345.0, 31.5 * INCH, 22 * INCH
TANK_REAR = TANK_FRONT + TANK_LENGTH
TANK_LOW, TANK_HIGH = 535.0, 845.0
FRONT_HUB, REAR_HUB = (330.0, 240.0), (330.0 + 29.25 * INCH, 280.0)
FRONT_TRACK, REAR_TRACK = 27 * INCH, 33 * INCH
SILL = (130.0, 470.0, 130.0 + 51.5 * INCH, 535.0)
PIVOT = (745.0, 1235.0)
BEAM_REACH, BEAM_RISE_DEG = 24.5 * INCH, 6.0
GRIP_LENGTH = 41 * INCH
VESSEL_X, VESSEL_FOOT, VESSEL_TIP = 455.0, 845.0, 1152.0
REEL = (1325.0, 800.0, 168.0)
LANTERN_X, LANTERN_Y = 228.0, 372.0
LANTERN_Z = (748.0, 1078.0)
BARRELS_X = (620.0, 870.0)
TOOL_BOX = (138.0, 535.0, 318.0, 652.0)
DRAW_BAR = ((205.0, 335.0), (-205.0, 78.0))


def vessel(x):
    """The air vessel: a copper body with brass hoops, turned about its axis."""
    foot, tip = VESSEL_FOOT, VESSEL_TIP
    body = [(foot + 20, 66), (foot + 34, 70), (foot + 48, 88), (foot + 60, 95), (foot + 170, 97)]
    body += dome(foot + 176, tip - 44, 97)
    body = Turned(x, body)
    flange = Turned(x, [(foot, 108), (foot + 3, 110), (foot + 17, 110), (foot + 20, 106)])
    knob = Turned(
        x, [(tip - 50, 26), (tip - 42, 30), (tip - 38, 14), (tip - 32, 12), (tip - 26, 17), *dome(tip - 22, tip, 18, 12)]
    )
    shapes = [Shadow(box(x - 104, foot - 6, x + 122, foot + 8), 0.35, 6), *flange.shapes("brass"), *body.shapes("copper")]
    for low in (foot + 62, foot + 160):
        shapes += body.band(low, low + 16, 4, "brass")
    for k in np.linspace(-0.92, 0.92, 9):
        shapes += rivet(x + 99 * np.sin(k * np.pi / 2), foot + 70, 3.6 * np.cos(k), "brass", 0.9)
        shapes += rivet(x + 108 * np.sin(k * np.pi / 2), foot + 10, 5 * np.cos(k), "iron")
    # The seam where the dome is brazed on.
    shapes += line((x - 92, foot + 196), (x + 92, foot + 196), 2.5, "gap", 0.4)
    return shapes + knob.shapes("brass", 1.05)


def lantern(x, half):
    """A ship's lantern of `half` its width: a brass foot, glass behind bars, a vented hood and a ring."""
    low, high = LANTERN_Z
    s = half / 85
    foot = Turned(x, [(low, 60 * s), (low + 4, 85 * s), (low + 22, 85 * s), (low + 30, 66 * s)])
    hood = Turned(
        x,
        [
            (low + 196, 85 * s),
            (low + 206, 85 * s),
            (low + 236, 56 * s),
            (low + 246, 42 * s),
            (low + 274, 40 * s),
            (low + 276, 48 * s),
            (low + 286, 46 * s),
            *dome(low + 286, low + 306, 44 * s, 8),
        ],
    )
    glass = Turned(x, [(low + 30, 62 * s), (low + 60, 70 * s), (low + 150, 70 * s), (low + 196, 62 * s)])
    shapes = [Shape(ring(x, high - 20, 20, 14), "iron", 1.0, torus(x, high - 20, 17, 3)), *glass.shapes("glass")]
    shapes += [
        Shape(disc(x, low + 92, 26 * s), "flame", 0.92, None, 0.55),
        Shape(disc(x, low + 88, 15 * s), "flame", 1.02, None, 0.8),
    ]
    for k in (-1, -0.45, 0.45, 1):
        shapes += rod((x + 68 * s * k, low + 26), (x + 68 * s * k, low + 200), 7 * s, "brass", 0.95)
    for z in (low + 84, low + 142):
        shapes += rod((x - 74 * s, z), (x + 74 * s, z), 7, "brass", 0.95)
    shapes += [*foot.shapes("brass"), *hood.shapes("brass")]
    for k in (-0.7, -0.35, 0, 0.35, 0.7):
        shapes += [Shape(disc(x + 40 * s * k, low + 260, 5 * s, 12), "gap")]
    return shapes


def barrel(x, low=TANK_HIGH, high=1005.0):
    """A pump barrel with its flanges and the packing gland."""
    body = Turned(x, [(low + 14, 52), (high - 22, 52)])
    shapes = [Shadow(box(x - 58, low - 5, x + 70, low + 8), 0.35, 6), *body.shapes("brass", 0.96)]
    for z, radius, deep in ((low, 66, 16), (high - 24, 62, 16), (low + 74, 56, 10)):
        hoop = Turned(x, [(z, radius - 2), (z + 3, radius), (z + deep - 3, radius), (z + deep, radius - 2)])
        shapes += [Shadow(box(x - 52, z - 6, x + 52, z), 0.3, 3), *hoop.shapes("brass")]
    for k in (-0.8, -0.3, 0.3, 0.8):
        shapes += rivet(x + 60 * np.sin(k * np.pi / 2), high - 8, 5, "iron")
    return shapes + Turned(x, [(high - 8, 30), (high + 14, 28), (high + 18, 20)]).shapes("brass", 1.05)


def spring(x, z):
    """A leaf spring on its axle block, hung from the sill."""
    shapes = plate([(x - 50, 392), (x + 50, 392), (x + 38, z + 20), (x - 38, z + 20)], "paint", 0.78, 5)
    for k, reach in enumerate((178, 136, 94, 54)):
        u = np.linspace(-reach, reach, 17)
        upper = np.column_stack([x + u, 412 + 46 * (u / 178) ** 2 - 9.5 * k])
        shapes += [Shape(np.vstack([upper, (upper - [0, 9])[::-1]]), "iron", 1.1 - 0.1 * k)]
    for end in (x - 178, x + 178):
        shapes += rod((end, 478), (end, 454), 16, "iron") + rivet(end, 455, 9)
    return shapes + plate(box(x - 26, 366, x + 26, 420), "iron", 0.95, 4) + bolt(x, 393, 9)


def undercarriage():
    """Sills, springs and axle blocks."""
    x0, z0, x1, z1 = SILL
    shapes = spring(*FRONT_HUB) + spring(*REAR_HUB)
    shapes += plate(box(x0, z0, x1, z1), "paint", 1.0, 7)
    shapes += [Shadow(box(TANK_FRONT, z1 - 8, TANK_REAR + 8, z1), 0.4, 6)]
    shapes += line((x0 + 14, z0 + 18), (x1 - 14, z0 + 18), 3, "shine", 0.45) + line(
        (x0 + 14, z1 - 18), (x1 - 14, z1 - 18), 3, "shine", 0.35
    )
    for x in (x0 + 24, 470, 560, 890, 1260, x1 - 24):
        shapes += plate(box(x - 13, z0 - 4, x + 13, z1 + 2), "iron", 1.0, 3) + rivet(x, z0 + 16, 6) + rivet(x, z1 - 18, 6)
    return shapes


def tank():
    """The water tank: oak staves in brass hoops, corner posts, a cover and its rails."""
    x0, x1, z0, z1 = TANK_FRONT, TANK_REAR, TANK_LOW, TANK_HIGH
    shapes = []
    for x in np.linspace(x0 + 22, x1 - 22, 5):
        shapes += rod((x, z1), (x, z1 + 62), 9, "brass", 0.95) + [Shape(disc(x, z1 + 64, 9), "brass", 1.0, ball(x, z1 + 64, 9))]
    shapes += rod((x0 + 10, z1 + 56), (x1 - 10, z1 + 56), 11, "brass")
    shapes += planks((x0, z0, x1, z1 - 20), 10, "oak", 5)
    for x in (x0, x1 - 34):
        shapes += plate(box(x, z0, x + 34, z1 - 20), "oak", 0.86, 5)
    for z in (z0 + 46, z1 - 84):
        shapes += [Shadow(box(x0, z - 7, x1, z), 0.4, 4), *plate(box(x0 - 3, z, x1 + 3, z + 30), "brass", 0.95, 5)]
        for x in np.linspace(x0 + 17, x1 - 17, 15):
            shapes += rivet(x, z + 15, 6.5, "brass", 0.92)
    shapes += [Shadow(box(x0, z1 - 32, x1, z1 - 20), 0.45, 6), *plate(box(x0 - 16, z1 - 22, x1 + 16, z1), "pine", 0.95, 6)]
    return shapes + name_plate(715, 690) + suction(1040, 690)


def name_plate(x, z):
    """An oval brass plate with an engraved rim and a star."""
    oval = disc(0, 0, 1, 60) * [92, 44] + [x, z]
    star = [(x + r * np.sin(a), z + r * np.cos(a)) for r, a in zip([27, 11] * 5, np.arange(10) * np.pi / 5)]
    shapes = [Shadow(oval + [4, -5], 0.4, 5), *plate(oval, "brass", 1.0, 5)]
    inner = (oval - [x, z]) * 0.82 + [x, z]
    for a, b in zip(inner, np.roll(inner, -1, axis=0)):
        shapes += line(a, b, 2.5, "gap", 0.6)
    return shapes + [Shape(np.array(star), "paint", 1.0)] + rivet(x - 62, z, 5, "brass") + rivet(x + 62, z, 5, "brass")


def suction(x, z):
    """The suction inlet with its cap and chain."""
    shapes = [Shadow(disc(x + 6, z - 8, 58), 0.4, 7), Shape(disc(x, z, 56, 60), "brass", 0.92, ball(x, z, 56, 0.55))]
    for angle in np.pi / 3 * np.arange(6) + 0.5:
        shapes += bolt(x + 45 * np.cos(angle), z + 45 * np.sin(angle), 6, "iron", 1.0, angle)
    shapes += [Shadow(disc(x + 4, z - 5, 34), 0.4, 4), Shape(disc(x, z, 33, 48), "brass", 1.0, ball(x, z, 33, 0.8))]
    return (
        shapes
        + plate(rounded(x - 30, z - 8, x + 30, z + 8, 5), "brass", 1.1, 3)
        + plate(rounded(x - 8, z - 30, x + 8, z + 30, 5), "brass", 1.1, 3)
    )


def hose_reel():
    """The reel on its bracket: flange, coils of hose, spokes, hub and crank."""
    x, z, radius = REEL
    shapes = []
    for foot in (x - 95, x + 70):
        shapes += [
            *plate(bar((foot, SILL[3]), (x, z), 40, 30), "iron", 0.9, 5),
            *bolt(foot + (x - foot) * 0.12, SILL[3] + 32, 8),
        ]
    shapes += [Shadow(disc(x + 12, z - 12, radius), 0.3, 12), Shape(disc(x, z, radius - 12, 90), "gap", 1.3)]
    for k, coil in enumerate(np.arange(58, radius - 16, 19)):
        shapes += [Shape(ring(x, z, coil + 19, coil), "canvas", 0.94 + 0.06 * (k % 2), torus(x, z, coil + 9.5, 10.5))]
    shapes += spokes((x, z), (30, radius - 12), 6, 22, "paint", 30)
    shapes += [
        Shadow(ring(x + 4, z - 5, radius, radius - 24), 0.3, 5),
        Shape(ring(x, z, radius, radius - 24), "paint", 1.0, torus(x, z, radius - 12, 14)),
    ]
    for angle in np.radians(np.arange(0, 360, 60)):
        shapes += bolt(x + (radius - 12) * np.cos(angle), z + (radius - 12) * np.sin(angle), 6, "brass", 1.0, angle)
    shapes += [Shape(disc(x, z, 44, 60), "brass", 0.95, ball(x, z, 44, 0.7))]
    crank = (x + 78, z + 62)
    shapes += [
        Shadow(bar((x + 5, z - 7), (crank[0] + 5, crank[1] - 7), 24), 0.35, 5),
        *plate(bar((x, z), crank, 26, 18), "iron", 1.05, 4),
    ]
    shapes += [Shape(disc(*crank, 19, 40), "oak", 1.1, ball(*crank, 19, 0.85))] + bolt(x, z, 13, "iron")
    return shapes


def tool_box():
    """A pine chest with a sloping lid, iron corners and a hasp."""
    x0, z0, x1, z1 = TOOL_BOX
    shapes = [Shadow(box(x0 + 4, z0 - 5, x1 + 8, z0 + 6), 0.4, 6), *planks((x0, z0, x1, z1 - 32), 3, "pine", 8, False)]
    shapes += plate(
        [(x0 - 7, z1 - 32), (x1 + 7, z1 - 32), (x1 + 7, z1 - 8), (x1 - 8, z1), (x0 + 8, z1), (x0 - 7, z1 - 8)], "pine", 0.92, 4
    )
    for x, s in ((x0, 1), (x1, -1)):
        shapes += plate(
            [(x, z0), (x + 30 * s, z0), (x + 14 * s, z0 + 14), (x + 14 * s, z1 - 46), (x, z1 - 46)][::s], "iron", 1.0, 3
        )
        shapes += rivet(x + 8 * s, z0 + 10, 4) + rivet(x + 8 * s, z1 - 58, 4)
    middle = (x0 + x1) / 2
    shapes += plate(rounded(middle - 16, z1 - 62, middle + 16, z1 - 14, 5), "brass", 1.0, 3) + [
        Shape(disc(middle, z1 - 48, 4, 12), "gap")
    ]
    for x in (x0 + 34, x1 - 34):
        shapes += plate(box(x - 7, z1 - 44, x + 7, z1 - 4), "iron", 1.0, 2)
    return shapes


def draw_bar():
    """The pole, let down to the ground, with its ferrules and the grip seen from its end."""
    (x0, z0), (x1, z1) = start, end = np.array(DRAW_BAR)
    towards = (end - start) / np.linalg.norm(end - start)
    at = lambda share: start + (end - start) * share
    shapes = [*plate(bar(start + towards * -40, at(0.16), 62, 52), "iron", 0.95, 5)]
    shapes += [Shape(bar(at(0.12), at(0.97), 44, 36), "oak", 1.0, along(start, end, 23))]
    for a, b, width in ((0.12, 0.17, 52), (0.52, 0.55, 46), (0.86, 0.90, 43)):
        shapes += [Shape(bar(at(a), at(b), width), "iron", 1.05, along(start, end, width / 2))]
    shapes += [Shape(bar(at(0.90), at(1.0), 32, 26), "iron", 1.0, along(start, end, 15))]
    shapes += [
        Shape(disc(x1, z1, 31, 60), "oak", 1.0, ball(x1, z1, 31, 0.7)),
        Shape(ring(x1, z1, 31, 23), "iron", 1.0, torus(x1, z1, 27, 4.6)),
    ]
    return shapes + bolt(*at(0.03), 11) + bolt(x1, z1, 9, "brass")


def beam_frame():
    """A function from (along, up) of the level beam to the tilted one."""
    c, s = np.cos(np.radians(BEAM_RISE_DEG)), np.sin(np.radians(BEAM_RISE_DEG))
    # The front end, at the left, is up.
    return lambda a, b: np.array([PIVOT[0] + a * c + b * s, PIVOT[1] - a * s + b * c])


def pump_beam():
    """The rocking beam: two iron-bound arms about the pivot, with the grips at its ends seen end-on."""
    at, reach = beam_frame(), BEAM_REACH
    poly = lambda *points: np.array([at(a, b) for a, b in points])
    body = poly(
        (-reach + 20, -22),
        (-160, -40),
        (0, -56),
        (160, -40),
        (reach - 20, -22),
        (reach - 20, 22),
        (160, 40),
        (0, 56),
        (-160, 40),
        (-reach + 20, 22),
    )
    shapes = [*plate(body, "oak", 1.0, 8)]
    for a in (-470, -300, 300, 470):
        half = 22 + 18 * (1 - (abs(a) - 160) / (reach - 180)) + 4
        shapes += plate(poly((a - 15, -half), (a + 15, -half), (a + 15, half), (a - 15, half)), "iron", 1.05, 4)
        shapes += rivet(*at(a, half - 14), 5) + rivet(*at(a, 14 - half), 5)
    for a, b in ((-260, -180), (180, 260)):
        shapes += line(at(a, 6), at(b, 8), 2.4, "gap", 0.3)
    shapes += [Shape(poly((-reach + 60, 4), (reach - 60, 4), (reach - 60, 10), (-reach + 60, 10)), "shine", 1.0, None, 0.16)]
    for side in (-1, 1):
        end = at(side * reach, 0)
        fork = poly(
            *[(side * a, b) for a, b in ((reach - 90, -26), (reach + 8, -18), (reach + 8, 18), (reach - 90, 26))][::side]
        )
        shapes += [*plate(fork, "iron", 1.0, 5), *bolt(*at(side * (reach - 68), 0), 8)]
        shapes += [
            Shadow(disc(end[0] + 5, end[1] - 7, 29), 0.35, 5),
            Shape(disc(*end, 29, 60), "pine", 1.0, ball(*end, 29, 0.75)),
            Shape(ring(*end, 29, 22), "brass", 1.0, torus(*end, 25.5, 4.4)),
        ]
        shapes += [Shape(disc(*end, 7, 20), "brass", 1.0, ball(*end, 7, 0.9))]
        # Where the pump rods hang.
        shapes += bolt(*at(-125 if side < 0 else 125, 0), 12, "brass")
    shapes += [Shadow(disc(PIVOT[0] + 6, PIVOT[1] - 8, 46), 0.35, 7), *plate(disc(*PIVOT, 45, 40), "iron", 1.05, 6)]
    return shapes + [Shape(disc(*PIVOT, 28, 40), "brass", 1.0, ball(*PIVOT, 28, 0.85))]


def standard():
    """The iron stand that carries the beam."""
    x, z = PIVOT
    shapes = [Shadow(box(x - 100, TANK_HIGH - 5, x + 112, TANK_HIGH + 6), 0.35, 6)]
    for s in (-1, 1):
        shapes += plate(
            [(x + s * 100, TANK_HIGH), (x + s * 62, TANK_HIGH), (x + s * 12, z), (x + s * 40, z)][::-s], "iron", 1.05, 6
        )
        shapes += plate(box(x + min(s * 112, s * 52), TANK_HIGH, x + max(s * 112, s * 52), TANK_HIGH + 16), "iron", 0.95, 4)
        shapes += bolt(x + s * 98, TANK_HIGH + 24, 7)
    shapes += plate(box(x - 72, 992, x + 72, 1018), "iron", 1.0, 4) + rivet(x - 58, 1005, 6) + rivet(x + 58, 1005, 6)
    return shapes


def pump_rods():
    """The rods between barrels and beam, level with the beam at rest."""
    shapes = []
    for x, a in zip(BARRELS_X, (-125, 125)):
        shapes += rod((x, 1005), (x, beam_frame()(a, 0)[1]), 20, "iron", 1.1)
    return shapes


def lantern_arm():
    """The bracket at the tank's front corner on which the lantern stands."""
    x, z = LANTERN_X, LANTERN_Z[0]
    shapes = plate(
        [
            (TANK_FRONT + 6, 742),
            (TANK_FRONT + 6, 640),
            (TANK_FRONT - 14, 660),
            (x + 24, 732),
            (x - 30, 732),
            (x - 30, 748),
            (TANK_FRONT - 10, 748),
        ],
        "iron",
        1.0,
        4,
    )
    return [*shapes, *rivet(TANK_FRONT - 4, 676, 5), Shadow(box(x - 60, z - 8, x + 60, z), 0.3, 4)]


def side_view():
    rods = pump_rods()
    parts = {
        "undercarriage": undercarriage(),
        "draw bar": draw_bar(),
        "wheels": wheel(*FRONT_HUB, 240, 12, 15) + wheel(*REAR_HUB, 280, 12),
        "tank": tank(),
        "barrels": rods + barrel(BARRELS_X[0]) + barrel(BARRELS_X[1]),
        "standard": standard(),
        "air vessel": vessel(VESSEL_X),
        "lantern arm": lantern_arm(),
        "lantern": lantern(LANTERN_X, 85),
        "tool box": tool_box(),
        "hose reel": hose_reel(),
        "pump beam": pump_beam(),
    }
    return parts, side_marks()


def on(part, **points):
    """Marks of a part: name -> (part, x, z)."""
    return {name.replace("_", " "): (part, *map(float, point)) for name, point in points.items()}


def side_marks():
    return {**frame_marks(), **draw_bar_marks(), **vessel_marks(VESSEL_X, "front", "rear"), **loose_marks()}


def frame_marks():
    """Marks of what carries the rest."""
    return {
        **on("wheels", hub_front=FRONT_HUB, hub_rear=REAR_HUB),
        **on("undercarriage", sill_front=SILL[:2], sill_rear=(SILL[2], SILL[1]), sill_tail=SILL[2:]),
        **on("tank", tank_front=(TANK_FRONT, TANK_LOW), tank_rear=(TANK_REAR, TANK_LOW)),
        **on("tank", cover_front=(TANK_FRONT - 16, TANK_HIGH), cover_rear=(TANK_REAR + 16, TANK_HIGH)),
        **on("tank", plate_star=(715, 717), plate_rivet=(653, 690), inlet_hub=(1040, 690)),
        **on("tank", band_front=(TANK_FRONT - 3, TANK_HIGH - 54), band_rear=(TANK_REAR + 3, TANK_HIGH - 54)),
        **on("standard", standard_foot=(PIVOT[0] + 112, TANK_HIGH + 16), standard_tie=(PIVOT[0] - 72, 1018)),
        **on("barrels", gland_front=(BARRELS_X[0] - 62, 981), gland_rear=(BARRELS_X[1] + 62, 981)),
    }


def draw_bar_marks():
    start, end = np.array(DRAW_BAR)
    out = 23 * np.array([start[1] - end[1], end[0] - start[0]]) / np.linalg.norm(end - start)
    bolt_at, ferrule = start + 0.03 * (end - start), start + 0.52 * (end - start)
    return on("draw bar", draw_bar_grip=end, draw_bar_bolt=bolt_at, ferrule_top=ferrule - out, ferrule_keel=ferrule + out)


def vessel_marks(x, one, other):
    """Marks of the air vessel, whose sides the views name differently."""
    foot, hoop, collar = VESSEL_FOOT + 3, VESSEL_FOOT + 172, VESSEL_TIP - 42
    pairs = {"vessel_foot": (110, foot), "hoop": (101, hoop), "collar": (30, collar)}
    points = {}
    for name, (radius, z) in pairs.items():
        points[f"{name}_{one}"], points[f"{name}_{other}"] = (x - radius, z), (x + radius, z)
    return on("air vessel", **points, vessel_tip=(x, VESSEL_TIP))


def lantern_marks(part, x, half, names):
    """Marks of a lantern: both ends of its foot, both of its eaves, its top."""
    low = LANTERN_Z[0]
    points = [(x - half, low + 22), (x + half, low + 22), (x - half, low + 196), (x + half, low + 196), (x, low + 306)]
    return on(part, **{f"{part} {name}": point for name, point in zip(names, points)})


def loose_marks():
    """Marks of lantern, tool box, reel and beam."""
    beam, hub, (x0, z0, x1, z1) = beam_frame(), np.array(REEL[:2]), TOOL_BOX
    bolts = np.radians([0, 60, 120, 180, 240, 300])
    bolts = {f"reel_bolt_{k + 1}": hub + (REEL[2] - 12) * np.array([np.cos(a), np.sin(a)]) for k, a in enumerate(bolts)}
    return {
        **lantern_marks("lantern", LANTERN_X, 85, ("foot front", "foot rear", "eave front", "eave rear", "top")),
        **on("tool box", box_foot_front=(x0, z0), box_foot_rear=(x1, z0), lid_front=(x0 - 7, z1 - 32), lid_rear=(x1 + 7, z1 - 32)),
        **on("tool box", box_lock=((x0 + x1) / 2, z1 - 48)),
        **on("hose reel", reel_hub=hub, **bolts),
        **on("pump beam", grip_front=beam(-BEAM_REACH, 0), grip_rear=beam(BEAM_REACH, 0)),
        **on("pump beam", strap_front=beam(-470, 0), fork_rear=beam(552, 0)),
    }
