"""What is wrong with the demo's model, and where its parts come to lie in each picture.

A part of the model lies at
    u_model = R(theta) diag(1 + w, 1 + h) (u_subject - c) + c + d
in render pixels, with c the part's anchor and theta clockwise on the screen. The views show one model: what is too far out from
in front is so in the plan.
"""

import numpy as np

import demo_pixels as px
import demo_pump as pump

SCALE = 24
# Size, pixels to a millimetre of the model, and where full-size (0, 0) lies.
RENDERS = {
    "side": ((1530, 1190), 20.0, (240.0, 1150.0)),
    "front": ((960, 1215), 20.0, (480.0, 1175.0)),
    "plan": ((1600, 1080), 18.0, (310.0, 540.0)),
}

TURNED_DEG = 2.5
# By how much the turned beam lifts its front end, full-size millimetres.
LIFTED = pump.BEAM_REACH * (np.sin(np.radians(pump.BEAM_RISE_DEG + TURNED_DEG)) - np.sin(np.radians(pump.BEAM_RISE_DEG)))


def error(anchor, width=0.0, height=0.0, rotation_deg=0.0, offset_mm=(0.0, 0.0)):
    """`anchor` is a full-size point of the subject, the offset in millimetres of the model, y down."""
    return {"anchor": anchor, "width": width, "height": height, "rotation_deg": rotation_deg, "offset_mm": offset_mm}


def middle(outline_box):
    x0, y0, x1, y1 = outline_box
    return (x0 + x1) / 2, (y0 + y1) / 2


LANTERN_MIDDLE = sum(pump.LANTERN_Z) / 2
ERRORS = {
    "side": {
        "lantern": error((pump.LANTERN_X, LANTERN_MIDDLE), width=0.04),
        "tool box": error(middle(pump.TOOL_BOX), offset_mm=(0.0, 0.30)),
        "pump beam": error(pump.PIVOT, rotation_deg=TURNED_DEG),
        "air vessel": error((pump.VESSEL_X, pump.VESSEL_FOOT), height=0.03),
        "hose reel": error(pump.REEL[:2], offset_mm=(0.03, 0.0)),
        "tank": error((745.0, 690.0)),
        "draw bar": error((0.0, 206.0)),
    },
    "front": {
        "left lantern": error((-pump.LANTERN_Y, LANTERN_MIDDLE), offset_mm=(-0.27, 0.0)),
        "right lantern": error((pump.LANTERN_Y, LANTERN_MIDDLE), offset_mm=(0.27, 0.0)),
        "tool box": error((0.0, middle(pump.TOOL_BOX)[1]), width=-0.04, offset_mm=(0.0, 0.30)),
        "air vessel": error((0.0, pump.VESSEL_FOOT), height=0.03),
        "front grip": error((0.0, pump.PIVOT[1]), offset_mm=(0.0, -LIFTED / SCALE)),
        "rear grip": error((0.0, pump.PIVOT[1]), offset_mm=(0.0, LIFTED / SCALE)),
        "draw bar": error((0.0, 206.0)),
    },
    "plan": {
        "left lantern": error((pump.LANTERN_X, pump.LANTERN_Y), width=0.04, offset_mm=(0.0, -0.27)),
        "right lantern": error((pump.LANTERN_X, -pump.LANTERN_Y), width=0.04, offset_mm=(0.0, 0.27)),
        "tool box": error((middle(pump.TOOL_BOX)[0], 0.0), height=-0.04),
        "hose reel": error((pump.REEL[0], 0.0), height=-0.05, offset_mm=(0.03, 0.0)),
    },
}
# Drawn, but not judged.
NOT_JUDGED = {"rear grip"}


def render_of_subject(view):
    """Render pixels of full-size points, as they would be without errors."""
    _, px_per_mm, origin = RENDERS[view]
    scale = px_per_mm / SCALE
    return px.Affine(np.diag([scale, -scale]), origin)


def render_of_model(view, part):
    """Render pixels of a part's points with the part's error."""
    subject = render_of_subject(view)
    found = ERRORS[view].get(part)
    if found is None:
        return subject
    centre = subject(found["anchor"])
    matrix = px.turn(found["rotation_deg"]) @ np.diag([1 + found["width"], 1 + found["height"]])
    offset = np.array(found["offset_mm"]) * RENDERS[view][1]
    return px.Affine(matrix, centre + offset - matrix @ centre).after(subject)


def true_errors(view, part):
    """The errors as `truth.json` has them."""
    found = ERRORS[view][part]
    _, px_per_mm, _ = RENDERS[view]
    offset_mm = [round(float(v), 6) for v in found["offset_mm"]]
    return {
        "name": part,
        "anchor": [round(float(v), 3) for v in render_of_subject(view)(found["anchor"])],
        "width_percent": 100 * found["width"],
        "height_percent": 100 * found["height"],
        "rotation_deg": found["rotation_deg"],
        "offset_px": [round(v * px_per_mm, 6) for v in offset_mm],
        "offset_model_mm": offset_mm,
        "offset_full_size_mm": [round(v * SCALE, 6) for v in offset_mm],
    }
