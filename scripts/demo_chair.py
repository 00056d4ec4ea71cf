"""The helm chair of a survey airship, as polygons in full-size millimetres.

Side view: x runs from the bow (left) aft. Front view: x runs to the chair's left (the picture's right), 0 in the middle.
Both: z up from the deck. A part is a list of (polygon, material, shade); parts are drawn in the order given.
"""
import numpy as np

INCH = 25.4
PAN_DEPTH = 18.25 * INCH  # 18 1/4 in, the one length that the reference states
RAKE_DEG = 12.0


def box(x0, z0, x1, z1):
    return np.array([(x0, z0), (x1, z0), (x1, z1), (x0, z1)], float)


def chamfered(x0, z0, x1, z1, c):
    """A rectangle with cut corners."""
    return np.array([(x0 + c, z0), (x1 - c, z0), (x1, z0 + c), (x1, z1 - c),
                     (x1 - c, z1), (x0 + c, z1), (x0, z1 - c), (x0, z0 + c)], float)


def bar(start, end, width):
    """A straight bar between two points."""
    start, end = np.array(start, float), np.array(end, float)
    along = (end - start) / np.linalg.norm(end - start)
    half = np.array([-along[1], along[0]]) * width / 2
    return np.array([start - half, end - half, end + half, start + half])


def disc(x, z, radius, corners=20):
    angle = 2 * np.pi * np.arange(corners) / corners
    return np.column_stack([x + radius * np.cos(angle), z + radius * np.sin(angle)])


def bolt(x, z, radius=9):
    """A bolt head with its shadow and slot."""
    return [(disc(x + 2, z - 2, radius + 3), "metal", 0.45), (disc(x, z, radius), "metal", 1.2),
            (bar((x - radius * 0.6, z), (x + radius * 0.6, z), 4), "metal", 0.4)]


def seam(start, end, material="leather", width=5):
    """A seam line."""
    return [(bar(start, end, width), material, 0.42)]


def stitches(start, end, material="thread", step=16):
    """A row of short stitches."""
    start, end = np.array(start, float), np.array(end, float)
    length = np.linalg.norm(end - start)
    along = (end - start) / length
    return [(bar(start + along * s, start + along * (s + 9), 3.2), material, 1.0)
            for s in np.arange(4, length - 10, step)]


def framed(polygon, material, shade, rim=7, dark=0.5):
    """A polygon with a dark rim inside its outline, which keeps parts apart."""
    polygon = np.asarray(polygon, float)
    centre = polygon.mean(axis=0)
    span = np.ptp(polygon, axis=0)
    inner = centre + (polygon - centre) * (1 - 2 * rim / span)
    return [(polygon, material, shade * dark), (inner, material, shade)]


def raked(a, b):
    """The point `a` up along the back's front face from its foot and `b` aft of that face."""
    rake = np.radians(RAKE_DEG)
    return np.array([775 + a * np.sin(rake) + b * np.cos(rake), 480 + a * np.cos(rake) - b * np.sin(rake)])


def tilted(centre, angle_deg):
    """A function from (along, up) to a plane that rises to the left by an angle."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return lambda a, b: np.array([centre[0] + a * c + b * s, centre[1] - a * s + b * c])


def side_view():
    """Parts in drawing order, and the points that are marked: name -> (part, x, z)."""
    parts, marks = {}, {}
    base = framed([(40, 0), (940, 0), (940, 26), (925, 40), (55, 40), (40, 26)], "paint", 0.8, 5)
    base += [(box(470, 40, 800, 58), "paint", 1.0)] + seam((470, 58), (800, 58), "paint")
    for x in (260, 350, 440, 840, 900):
        base += bolt(x, 20, 8)
    parts["base plate"] = base
    pedestal = framed([(525, 58), (745, 58), (705, 150), (705, 340), (565, 340), (565, 150)], "metal", 0.75)
    pedestal += [(box(630, 155, 660, 335), "metal", 1.05)]
    for z in (180, 205, 230):
        pedestal += seam((565, z), (705, z), "metal")
    pedestal += framed(box(535, 300, 735, 345), "metal", 0.95, 5) + bolt(560, 322) + bolt(710, 322)
    pedestal += framed(box(575, 345, 695, 385), "metal", 0.6, 5)
    pedestal += framed([(565, 250), (565, 205), (400, 172), (400, 200)], "metal", 0.65, 4)
    parts["pedestal"] = pedestal
    front, rear = 370.0, 370.0 + PAN_DEPTH
    pan = framed([(front, 430), (rear, 430), (rear, 372), (front + 70, 345), (front + 12, 372)], "paint", 1.0, 6)
    pan += framed([(front + 14, 430), (rear - 30, 430), (rear - 30, 484), (front + 50, 500), (front + 14, 478)],
                  "leather", 0.95, 6)
    pan += seam((front + 20, 455), (rear - 34, 455)) + stitches((front + 20, 446), (rear - 34, 446))
    pan += bolt(front + 40, 400) + bolt(rear - 40, 400) + bolt((front + rear) / 2, 395)
    parts["seat pan"] = pan
    back = [(bar(raked(600, 70), raked(700, 70), 22), "metal", 1.1), (bar(raked(600, 30), raked(700, 30), 22), "metal", 0.9)]
    back += framed([(750, 436), (812, 436), (852, 540), (770, 560)], "metal", 0.8, 5)
    back += framed([raked(0, 0), raked(610, 0), raked(625, 20), raked(625, 95), raked(560, 112), raked(40, 112),
                    raked(0, 90)], "leather", 0.85, 8)
    back += framed([raked(30, 112), raked(590, 112), raked(590, 92), raked(30, 92)], "paint", 0.7, 3)
    for a in (200, 330, 460):
        back += seam(raked(a, 6), raked(a, 90)) + stitches(raked(a + 9, 8), raked(a + 9, 88))
    back += seam(raked(20, 88), raked(600, 88))
    parts["back"] = back
    low, top = 650.0, (1350 - 480) / np.cos(np.radians(RAKE_DEG))
    outline = [raked(low, -20), raked(low + 40, -50), raked(top - 45, -50), raked(top - 10.5, -10), raked(top, 0),
               raked(top, 130), raked(top - 50, 165), raked(low + 40, 165), raked(low, 135)]
    head = framed(outline, "leather", 1.05, 9)
    head += seam(raked(low + 12, 40), raked(top - 14, 40)) + stitches(raked(low + 12, 50), raked(top - 14, 50))
    head += framed([raked(low + 60, 70), raked(low + 60, 145), raked(top - 70, 145), raked(top - 70, 70)], "leather", 0.8, 6)
    parts["headrest"] = head
    arm = framed([(700, 470), (770, 470), (745, 590), (745, 700), (690, 700), (690, 590)], "metal", 0.9, 6)
    arm += framed(chamfered(455, 690, 850, 748, 14), "leather", 1.0, 6)
    arm += seam((470, 715), (836, 715)) + stitches((470, 724), (836, 724))
    arm += framed([(470, 748), (600, 748), (580, 792), (490, 792)], "paint", 0.9, 5)
    arm += [(disc(515, 770, 9), "lamp", 1.0), (disc(552, 770, 9), "lamp", 0.6)] + bolt(718, 620) + bolt(718, 510)
    parts["armrest"] = arm
    at = tilted((315, 190), 20.0)
    foot = framed([at(-125, -16), at(125, -16), at(125, 16), at(-125, 16)], "metal", 1.0, 5)
    foot += framed([at(-125, 16), at(-95, 16), at(-105, 60), at(-125, 60)], "metal", 0.8, 4)
    for a in (-70, -40, -10, 20, 50, 80):
        foot += [(np.array([at(a, 16), at(a + 16, 16), at(a + 16, 25), at(a, 25)]), "rubber", 1.0)]
    foot += bolt(*at(105, 0), 7) + bolt(*at(-110, 0), 7)
    parts["footrest"] = foot
    column = framed(box(70, 40, 215, 66), "paint", 1.0, 4)
    column += framed([(95, 66), (195, 66), (178, 150), (118, 150)], "rubber", 1.4, 5)
    column += seam((106, 94), (188, 94), "rubber") + seam((112, 122), (182, 122), "rubber")
    column += framed(bar((146, 140), (200, 820), 52), "metal", 0.85) + [(bar((150, 190), (194, 760), 10), "metal", 1.15)]
    column += framed(bar((196, 770), (204, 880), 96), "paint", 0.95, 6) + bolt(200, 850, 8) + bolt(197, 800, 8)
    column += framed(bar((200, 825), (262, 808), 34), "metal", 1.1, 4)
    column += framed(bar((222, 640), (300, 980), 34), "wood", 1.0, 5) + [(bar((243, 730), (279, 888), 14), "wood", 1.35)]
    parts["control column"] = column
    add = lambda part, name, point: marks.update({name: (part, *map(float, point))})
    add("base plate", "base front", (40, 0)), add("base plate", "base rear", (940, 0))
    add("base plate", "deck plate rear", (800, 58))
    add("pedestal", "pedestal waist front", (565, 150)), add("pedestal", "collar rear", (735, 300))
    add("seat pan", "pan front", (front, 430)), add("seat pan", "pan rear", (rear, 430))
    add("seat pan", "pan keel", (front + 70, 345))
    add("back", "back top", raked(610, 0)), add("back", "back heel", raked(590, 112))
    add("seat pan", "cushion nose", (front + 50, 500)), add("seat pan", "pan bolt front", (front + 40, 400))
    add("seat pan", "pan bolt rear", (rear - 40, 400)), add("seat pan", "cushion front", (front + 14, 430))
    add("back", "back crown rear", raked(625, 95)), add("back", "upper seam rear", raked(460, 90))
    add("back", "lower seam front", raked(330, 6)), add("back", "back rail foot", raked(30, 112))
    add("headrest", "headrest top", outline[5]), add("headrest", "headrest front", outline[2])
    add("headrest", "headrest rear", outline[7]), add("headrest", "headrest chin", outline[0])
    add("armrest", "armrest nose", (455, 704)), add("armrest", "armrest tail", (850, 734))
    add("armrest", "panel top front", (490, 792)), add("armrest", "strut bolt", (718, 510))
    add("footrest", "footrest toe", at(-125, 60)), add("footrest", "footrest toe low", at(-125, -16))
    add("footrest", "footrest heel", at(125, 16)), add("footrest", "footrest heel low", at(125, -16))
    wheel = bar((222, 640), (300, 980), 34)
    add("control column", "column foot front", (70, 66)), add("control column", "column foot rear", (215, 66))
    add("control column", "wheel top", wheel[2]), add("control column", "wheel bottom", wheel[0])
    return parts, marks


def ring(x, z, outer, inner, corners=40):
    """A ring as one polygon with a slit."""
    a, b = disc(x, z, outer, corners), disc(x, z, inner, corners)
    return np.vstack([a, a[:1], b[:1], b[::-1]])


def front_view():
    """As `side_view`, seen from the bow."""
    parts, marks = {}, {}
    base = framed([(-310, 0), (310, 0), (310, 26), (295, 40), (-295, 40), (-310, 26)], "paint", 0.8, 5)
    base += [(box(-190, 40, 190, 58), "paint", 1.0)] + seam((-190, 58), (190, 58), "paint")
    for x in (-270, -230, 230, 270):
        base += bolt(x, 20, 8)
    parts["base plate"] = base
    pedestal = framed([(-130, 58), (130, 58), (80, 150), (80, 340), (-80, 340), (-80, 150)], "metal", 0.75)
    for z in (250, 275):
        pedestal += seam((-80, z), (80, z), "metal")
    pedestal += framed(box(-115, 300, 115, 345), "metal", 0.95, 5) + bolt(-90, 322) + bolt(90, 322)
    parts["pedestal"] = pedestal
    back = [(box(x - 12, 1060, x + 12, 1140), "metal", 1.0) for x in (-60, 60)]
    back += framed([(-235, 470), (235, 470), (250, 560), (230, 1010), (185, 1080), (-185, 1080), (-230, 1010), (-250, 560)],
                   "leather", 0.85, 9)
    for z in (700, 825, 950):
        back += seam((-222, z), (222, z)) + stitches((-220, z + 9), (220, z + 9))
    back += seam((-150, 480), (-150, 1070)) + seam((150, 480), (150, 1070))
    parts["back"] = back
    pan = []
    for side in (-1, 1):
        lug = np.array([(200, 352), (262, 352), (322, 415), (322, 484), (294, 484), (294, 428), (240, 385)])
        pan += [(lug * np.array([side, 1.0]), "metal", 0.6)]
    pan += framed([(-265, 430), (265, 430), (250, 372), (200, 345), (-200, 345), (-250, 372)], "paint", 1.0, 6)
    pan += framed([(-255, 430), (255, 430), (255, 478), (215, 500), (-215, 500), (-255, 478)], "leather", 0.95, 6)
    pan += seam((-250, 455), (250, 455)) + stitches((-250, 446), (250, 446)) + bolt(-215, 400) + bolt(215, 400)
    parts["seat pan"] = pan
    outline = [(-120, 1116), (120, 1116), (160, 1155), (150, 1305), (105, 1350), (-105, 1350), (-150, 1305), (-160, 1155)]
    head = framed(outline, "leather", 1.05, 9) + framed(chamfered(-95, 1160, 95, 1305, 14), "leather", 0.85, 7)
    head += stitches((-80, 1172), (80, 1172)) + stitches((-80, 1293), (80, 1293))
    parts["headrest"] = head
    for side, name in ((-1, "armrest right"), (1, "armrest left")):
        mirror = np.array([side, 1.0])
        arm = framed(np.array([(275, 470), (325, 470), (340, 600), (340, 700), (290, 700), (290, 600)]) * mirror, "metal", 0.9, 6)
        arm += framed(chamfered(265, 690, 375, 748, 14) * mirror, "leather", 1.0, 7)
        arm += framed(np.array([(280, 748), (362, 748), (352, 792), (290, 792)]) * mirror, "paint", 0.9, 5)
        arm += bolt(side * 315, 620) + bolt(side * 305, 510) + [(disc(side * 321, 770, 9), "lamp", 1.0)]
        parts[name] = arm
        for mark, point in (("inner", (265, 704)), ("outer", (375, 734)), ("panel", (290, 792)), ("bolt", (305, 510))):
            marks[f"{name} {mark}"] = (name, float(point[0] * side), float(point[1]))
    foot = framed([(-170, 130), (170, 130), (185, 215), (-185, 215)], "metal", 1.0, 6)
    for z in (150, 170, 190):
        foot += [(box(-150, z, 150, z + 9), "rubber", 1.0)]
    parts["footrest"] = foot + bolt(-165, 200, 7) + bolt(165, 200, 7)
    column = framed(box(-70, 40, 70, 66), "paint", 1.0, 4) + framed([(-50, 66), (50, 66), (30, 130), (-30, 130)], "rubber", 1.4, 5)
    column += framed(box(-26, 120, 26, 830), "metal", 0.85) + [(box(-6, 230, 6, 760), "metal", 1.15)]
    column += framed(ring(0, 810, 190, 158), "wood", 1.0, 2)[:1] + [(ring(0, 810, 182, 166), "wood", 1.3)]
    for angle in (90, 210, 330):
        tip = (170 * np.cos(np.radians(angle)), 810 + 170 * np.sin(np.radians(angle)))
        column += framed(bar((0, 810), tip, 20), "metal", 1.0, 4)
    parts["control column"] = column + framed(disc(0, 810, 42), "paint", 0.95, 6) + bolt(0, 810, 14)
    add = lambda part, name, point: marks.update({name: (part, *map(float, point))})
    add("base plate", "base right", (-310, 0)), add("base plate", "base left", (310, 0))
    add("base plate", "deck plate left", (190, 58)), add("pedestal", "collar right", (-115, 300))
    add("pedestal", "collar left", (115, 300))
    add("seat pan", "pan right", (-265, 430)), add("seat pan", "pan left", (265, 430))
    add("back", "back shoulder right", (-230, 1010)), add("back", "back shoulder left", (230, 1010))
    add("back", "back crown left", (185, 1080))
    add("headrest", "headrest top right", outline[5]), add("headrest", "headrest top left", outline[4])
    add("headrest", "headrest ear right", outline[7]), add("headrest", "headrest ear left", outline[2])
    return parts, marks
