"""The fire pump of the camera's demo as a mesh: its parts, where the subject has them, and the package of the model.

Most parts are those of fixtures/demo/pump.obj; a lantern and a tool box are added. Millimetres of the model: x along the pump, y to the rear,
z up.
"""

import math
import zipfile
from pathlib import Path

import numpy as np

PUMP = Path(__file__).resolve().parent.parent / "fixtures/demo/pump.obj"
# Objects of the file that are one part.
JOINED = {
    "vessel cap": "air vessel",
    "handle left": "pump beam",
    "handle right": "pump beam",
    "beam": "pump beam",
    "beam axle": "beam posts",
    "beam post front": "beam posts",
    "beam post rear": "beam posts",
}
LANTERN = ((-51, -12, 17), (-41, -2, 31))
ROOF = 5.0
TOOL_BOX = ((-33, -9, 39), (-13, 9, 47))

# Errors of the model's parts, model minus subject: sizes along x, y, z (parts of 1), turn about x, y, z (degrees), offset (mm).
# The lantern stands on the plate: what it is too high by lifts its middle.
ERRORS = {
    "tool box": ((0, 0.06, 0), (0, 0, 0), (0, 0, 0)),
    "lantern": ((0, 0, 0.05), (0, 0, 0), (-0.4, 0, 0.45)),
    "pump beam": ((0, 0, 0), (0, 2.0, 0), (0, 0, 0)),
}


def box(low, high):
    """Corners and facets, seen from outside counted against the clock."""
    corners = np.array([[(low, high)[k >> axis & 1][axis] for axis in range(3)] for k in range(8)], float)
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    return corners, [(q[0], q[i], q[i + 1]) for q in quads for i in (1, 2)]


def lantern():
    """A box with a roof that stands out on all sides and comes to a tip."""
    low, high = LANTERN
    corners, facets = box(low, high)
    eave = [(low[0] - 1, low[1] - 1), (high[0] + 1, low[1] - 1), (high[0] + 1, high[1] + 1), (low[0] - 1, high[1] + 1)]
    middle = [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, high[2] + ROOF]
    roof = np.array([[x, y, high[2]] for x, y in eave] + [middle], float)
    sides = [(0, 1, 4), (1, 2, 4), (2, 3, 4), (3, 0, 4), (0, 2, 1), (0, 3, 2)]
    return np.vstack([corners, roof]), facets + [tuple(8 + k for k in side) for side in sides]


def pump():
    """Parts of the model by their names: corners and facets."""
    objects, name, first, seen = {}, None, 0, 0
    for line in PUMP.read_text().splitlines():
        kind, _, rest = line.partition(" ")
        if kind == "o":
            name, first = rest, seen
            objects[name] = ([], [])
        elif kind == "v":
            objects[name][0].append([float(v) for v in rest.split()])
            seen += 1
        elif kind == "f":
            objects[name][1].append(tuple(int(v) - 1 - first for v in rest.split()))
    parts = {}
    for name, (corners, facets) in objects.items():
        own = parts.setdefault(JOINED.get(name, name), ([], []))
        own[1].extend(tuple(v + len(own[0]) for v in facet) for facet in facets)
        own[0].extend(corners)
    parts["lantern"] = lantern()
    parts["tool box"] = box(*TOOL_BOX)
    return {name: (np.array(corners, float), np.array(facets)) for name, (corners, facets) in parts.items()}


def on_subject(name, points, anchor):
    """Where the subject has places of the model's part: the errors taken off about the anchor."""
    points = np.atleast_2d(points).astype(float)
    if name not in ERRORS:
        return points
    size, turn, offset = (np.array(v, float) for v in ERRORS[name])
    angle = math.radians(np.linalg.norm(turn))
    axis = turn / max(np.linalg.norm(turn), 1e-12)
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    rotation = np.eye(3) + math.sin(angle) * k + (1 - math.cos(angle)) * k @ k
    return ((points - anchor) @ rotation) / (1 + size) + anchor - offset


def write_package(path, parts):
    """A 3MF package, an object with its name for each part."""
    objects, items = [], []
    for number, (name, (corners, facets)) in enumerate(parts.items(), 1):
        vertices = "".join(f'<vertex x="{x:g}" y="{y:g}" z="{z:g}"/>' for x, y, z in corners.round(4))
        triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in facets)
        objects.append(f'<object id="{number}" type="model" name="{name}"><mesh><vertices>{vertices}</vertices><triangles>{triangles}</triangles></mesh></object>')
        items.append(f'<item objectid="{number}"/>')
    model = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<model unit="millimeter" xml:lang="en-US" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">'
        f'<resources>{"".join(objects)}</resources><build>{"".join(items)}</build></model>'
    )
    types = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
    )
    relations = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Target="/3D/3dmodel.model" Id="rel0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in (("[Content_Types].xml", types), ("_rels/.rels", relations), ("3D/3dmodel.model", model)):
            entry = zipfile.ZipInfo(name)
            entry.compress_type = zipfile.ZIP_DEFLATED
            package.writestr(entry, text)
