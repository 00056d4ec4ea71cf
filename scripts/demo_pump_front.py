"""The fire pump from in front, in full-size millimetres: x to the right of who looks, z up from the ground.

Left and right are those of the picture. What it shares with the side view comes from there, so both show one pump.
"""

import numpy as np

import demo_pump as pump
from demo_shapes import (
    Shadow,
    Shape,
    Turned,
    along,
    ball,
    bolt,
    box,
    disc,
    line,
    mirrored,
    plate,
    planks,
    rivet,
    rod,
    rounded,
    stadium,
    torus,
)

HALF = pump.TANK_WIDTH / 2
GRIP_HALF = pump.GRIP_LENGTH / 2
TOOL_HALF = 172.0


def wheel_edge(x, radius, width):
    """A wheel as its tread and hub show from in front."""
    half = width / 2

    def tread(points):
        s = 0.85 * np.clip((points[..., 1] - radius) / radius, -1, 1)
        return np.stack(np.broadcast_arrays(0 * s, s, np.sqrt(1 - s**2)), -1)

    outline = rounded(x - half, 0, x + half, 2 * radius, half * 0.35)
    shapes = [Shadow(outline + [6, -4], 0.3, 8), Shape(outline, "tyre", 1.0, tread)]
    shapes += [Shape(rounded(x - half * 0.62, 8, x + half * 0.62, 2 * radius - 8, half * 0.3), "wheel", 0.9, tread)]
    for z in np.linspace(0.12, 1.88, 9) * radius:
        shapes += rivet(x, z, 5)
    hub = rounded(x - half * 1.7, radius - 34, x + half * 1.7, radius + 34, 12)
    shapes += [Shadow(hub + [4, -6], 0.35, 5), Shape(hub, "wheel", 0.95, along((x - 60, radius), (x + 60, radius), 36))]
    for side in (-1, 1):
        out = sorted((x + side * half * 1.7, x + side * (half * 1.7 + 16)))
        shapes += [
            Shape(
                rounded(out[0], radius - 21, out[1], radius + 21, 5),
                "brass",
                1.0,
                along((x - 60, radius), (x + 60, radius), 22),
            )
        ]
    return shapes


def undercarriage():
    """Axles, bolster, sills and their cross piece."""
    (_, front), (_, rear) = pump.FRONT_HUB, pump.REAR_HUB
    low, high = pump.SILL[1], pump.SILL[3]
    shapes = rod((-400, rear), (400, rear), 34, "iron", 0.8)
    shapes += plate([(-215, 392), (215, 392), (150, front + 16), (-150, front + 16)], "paint", 0.78, 6)
    shapes += rod((-330, front), (330, front), 38, "iron")
    for x in (-190, 190):
        shapes += plate(box(x - 32, 366, x + 32, low), "iron", 0.95, 5) + bolt(x, 393, 9) + bolt(x, 440, 9)
    shapes += plate(box(-262, low, 262, high), "paint", 1.0, 7)
    shapes += line((-248, low + 18), (248, low + 18), 3, "shine", 0.45) + line(
        (-248, high - 18), (248, high - 18), 3, "shine", 0.35
    )
    for x in (-236, -110, 110, 236):
        shapes += plate(box(x - 13, low - 4, x + 13, high + 2), "iron", 1.0, 3) + rivet(x, low + 16, 6) + rivet(x, high - 18, 6)
    return shapes


def tank():
    """Its front: planks, hoops, cover, rails."""
    low, high = pump.TANK_LOW, pump.TANK_HIGH
    shapes = []
    for x in (-HALF + 20, -95, 95, HALF - 20):
        shapes += rod((x, high), (x, high + 62), 9, "brass", 0.95) + [
            Shape(disc(x, high + 64, 9), "brass", 1.0, ball(x, high + 64, 9))
        ]
    shapes += rod((-HALF + 8, high + 56), (HALF - 8, high + 56), 11, "brass")
    shapes += planks((-HALF, low, HALF, high - 20), 7, "oak", 6)
    for x in (-HALF, HALF - 34):
        shapes += plate(box(x, low, x + 34, high - 20), "oak", 0.86, 5)
    for z in (low + 46, high - 84):
        shapes += [Shadow(box(-HALF, z - 7, HALF, z), 0.4, 4), *plate(box(-HALF - 3, z, HALF + 3, z + 30), "brass", 0.95, 5)]
        for x in np.linspace(-HALF + 17, HALF - 17, 11):
            shapes += rivet(x, z + 15, 6.5, "brass", 0.92)
    return [
        *shapes,
        Shadow(box(-HALF, high - 32, HALF, high - 20), 0.45, 6),
        *plate(box(-HALF - 16, high - 22, HALF + 16, high), "pine", 0.95, 6),
    ]


def lantern_arm(x):
    """The bracket from a corner post to a lantern at the right."""
    z = pump.LANTERN_Z[0]
    return [
        *plate(
            [(HALF - 30, 742), (HALF - 30, 640), (HALF - 8, 660), (x - 24, 732), (x + 30, 732), (x + 30, z), (HALF - 20, z)],
            "iron",
            1.0,
            4,
        ),
        *rivet(HALF - 17, 676, 5),
        Shadow(box(x - 60, z - 8, x + 60, z), 0.3, 4),
    ]


def grip_bar(z):
    """A bar that four people take hold of, across the end of the beam: wood between brass ferrules."""
    half = GRIP_HALF
    shapes = [Shadow(box(-half, z - 36, half, z + 8), 0.25, 7)]
    shapes += [Shape(stadium(-half, z - 25, half, z + 25), "pine", 1.0, along((-half, z), (half, z), 26))]
    for x in (-half + 24, -half * 0.52, half * 0.52, half - 24):
        shapes += [Shape(rounded(x - 14, z - 29, x + 14, z + 29, 4), "brass", 1.0, along((-half, z), (half, z), 31))]
    for x in (-half * 0.78, half * 0.78):
        for k in (-60, -20, 20, 60):
            shapes += line((x + k, z - 20), (x + k, z + 20), 3, "gap", 0.35)
    return shapes


def beam_end(z):
    """The end of the beam behind its bar."""
    shapes = plate(box(-62, z - 44, 62, z + 44), "oak", 0.95, 7)
    return shapes + plate(rounded(-44, z - 36, 44, z + 36, 8), "iron", 1.0, 5) + bolt(-24, z, 9) + bolt(24, z, 9)


def standard():
    """The stand of the beam: two posts, a tie and the pivot's bearings."""
    z, low = pump.PIVOT[1], pump.TANK_HIGH
    shapes = rod((-205, z), (205, z), 40, "iron", 1.0)
    right = [
        Shadow(box(110, low - 5, 214, low + 6), 0.35, 6),
        *plate([(128, low), (196, low), (172, z), (136, z)], "iron", 1.05, 6),
        *plate(box(112, low, 212, low + 16), "iron", 0.95, 4),
        *bolt(204, low + 24, 7),
        *bolt(120, low + 24, 7),
        *plate(rounded(122, z - 46, 190, z + 46, 12), "iron", 1.1, 6),
        *bolt(156, z + 26, 8),
        *bolt(156, z - 26, 8),
        Shape(rounded(205, z - 26, 222, z + 26, 6), "brass", 1.0, along((200, z), (230, z), 28)),
    ]
    return shapes + plate(box(-150, 1080, 150, 1106), "iron", 1.0, 4) + right + mirrored(right)


def tool_box():
    """The chest from its front."""
    (_, z0, _, z1), half = pump.TOOL_BOX, TOOL_HALF
    shapes = [Shadow(box(-half, z0 - 5, half + 6, z0 + 6), 0.4, 6), *planks((-half, z0, half, z1 - 32), 3, "pine", 9, False)]
    shapes += plate(
        [(-half - 7, z1 - 32), (half + 7, z1 - 32), (half + 7, z1 - 8), (half - 8, z1), (8 - half, z1), (-half - 7, z1 - 8)],
        "pine",
        0.92,
        4,
    )
    right = [
        *plate([(half, z0), (half, z1 - 46), (half - 14, z1 - 46), (half - 14, z0 + 14), (half - 30, z0)], "iron", 1.0, 3),
        *rivet(half - 8, z0 + 10, 4),
        *rivet(half - 8, z1 - 58, 4),
        *plate(box(half - 66, z1 - 44, half - 50, z1 - 4), "iron", 1.0, 2),
        Shape(rounded(half - 100, z0 + 34, half - 94, z0 + 62, 3), "iron"),
    ]
    shapes += right + mirrored(right)
    return shapes + plate(rounded(-18, z1 - 62, 18, z1 - 14, 5), "brass", 1.0, 3) + [Shape(disc(0, z1 - 48, 4, 12), "gap")]


def draw_bar():
    """The pole towards the eye, its fork, and the grip across its end."""
    (_, high), (_, low) = pump.DRAW_BAR
    shapes = plate([(-70, high + 10), (70, high + 10), (34, high - 60), (-34, high - 60)], "iron", 0.95, 5)
    shapes += [Shape(box(-22, low, 22, high - 46), "oak", 1.0, along((0, low), (0, high), 24))]
    for z in (high - 66, 190, 118):
        shapes += [Shape(rounded(-26, z - 9, 26, z + 9, 3), "iron", 1.05, along((0, low), (0, high), 27))]
    shapes += [Shadow(box(-170, low - 34, 176, low + 8), 0.25, 6)]
    shapes += [Shape(stadium(-170, low - 27, 170, low + 27), "oak", 1.0, along((-170, low), (170, low), 28))]
    for x in (-146, -34, 34, 146):
        shapes += [Shape(rounded(x - 12, low - 31, x + 12, low + 31, 4), "iron", 1.05, along((-170, low), (170, low), 33))]
    return shapes + bolt(0, low, 10, "brass") + bolt(-44, high - 8, 8) + bolt(44, high - 8, 8)


def front_view():
    """Parts in drawing order, and the points that are marked: name -> (part, x, z)."""
    beam = pump.beam_frame()
    front, rear = beam(-pump.BEAM_REACH, 0)[1], beam(pump.BEAM_REACH, 0)[1]
    arm = lantern_arm(pump.LANTERN_Y)
    parts = {
        "wheels": wheel_edge(-pump.REAR_TRACK / 2, 280, 56) + wheel_edge(pump.REAR_TRACK / 2, 280, 56),
        "undercarriage": undercarriage(),
        "front wheels": wheel_edge(-pump.FRONT_TRACK / 2, 240, 54) + wheel_edge(pump.FRONT_TRACK / 2, 240, 54),
        "rear grip": beam_end(rear) + grip_bar(rear),
        "barrels": rod((0, 1005), (0, 1240), 20, "iron", 1.1) + pump.barrel(0),
        "standard": standard(),
        "tank": tank(),
        "air vessel": pump.vessel(0),
        "front grip": beam_end(front) + grip_bar(front),
        "lantern arms": arm + mirrored(arm),
        "left lantern": pump.lantern(-pump.LANTERN_Y, 78),
        "right lantern": pump.lantern(pump.LANTERN_Y, 78),
        "tool box": tool_box(),
        "draw bar": draw_bar(),
    }
    return parts, front_marks(front)


def front_marks(front):
    """`front` is the height of the front grip."""
    low, high, pivot, handle = pump.TANK_LOW, pump.TANK_HIGH, pump.PIVOT[1] + 26, pump.DRAW_BAR[1][1]
    wheel, names = pump.REAR_TRACK / 2, ("foot", "heel", "eave", "brim", "top")
    half, z0, z1, inner = TOOL_HALF, pump.TOOL_BOX[1], pump.TOOL_BOX[3], 0.52 * GRIP_HALF + 14
    return {
        **pump.on("tank", tank_left=(-HALF, low), tank_right=(HALF, low)),
        **pump.on("tank", cover_left=(-HALF - 16, high), cover_right=(HALF + 16, high)),
        **pump.on("undercarriage", sill_left=(-262, pump.SILL[1]), sill_right=(262, pump.SILL[1])),
        **pump.on("standard", bearing_left=(-222, pivot), bearing_right=(222, pivot)),
        **pump.on("standard", post_foot_left=(-212, high + 16), post_foot_right=(212, high + 16)),
        **pump.on("wheels", wheel_top_left=(-wheel, 560), wheel_top_right=(wheel, 560)),
        **pump.on("draw bar", handle_left=(-170, handle), handle_right=(170, handle), handle_bolt=(0, handle)),
        **pump.vessel_marks(0, "left", "right"),
        **pump.lantern_marks("left lantern", -pump.LANTERN_Y, 78, names),
        **pump.lantern_marks("right lantern", pump.LANTERN_Y, 78, names),
        **pump.on("tool box", box_foot_left=(-half, z0), box_foot_right=(half, z0)),
        **pump.on("tool box", lid_left=(-half - 7, z1 - 32), lid_right=(half + 7, z1 - 32), box_lock=(0, z1 - 48)),
        **pump.on("front grip", grip_left=(-GRIP_HALF, front), grip_right=(GRIP_HALF, front)),
        **pump.on("front grip", ferrule_left=(-inner, front + 29), ferrule_right=(inner, front + 29)),
    }
