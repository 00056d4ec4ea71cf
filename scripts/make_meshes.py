#!/usr/bin/env python3
"""Writes the fixtures of meshes: the demo's fire pump, one small model in every format, as trimesh writes it, and a plain package.

    python3 -m venv venv && venv/bin/pip install trimesh==4.9.0 numpy==2.3.4 networkx==3.5 lxml==6.0.2
    venv/bin/python scripts/make_meshes.py

trimesh (MIT) serves as an independent writer, and for the areas and boxes of expected.json. The pump is invented.
"""
import json
import math
import pathlib
import zipfile

import numpy as np
import trimesh
from trimesh.transformations import rotation_matrix, translation_matrix

ROOT = pathlib.Path(__file__).resolve().parent.parent / "fixtures"


def box(size, middle):
    mesh = trimesh.creation.box(extents=size)
    mesh.apply_translation(middle)
    return mesh


def cylinder(radius, height, middle, axis="z", sections=32):
    mesh = trimesh.creation.cylinder(radius=radius, height=height, sections=sections)
    if axis == "y":
        mesh.apply_transform(rotation_matrix(math.pi / 2, [1, 0, 0]))
    if axis == "x":
        mesh.apply_transform(rotation_matrix(math.pi / 2, [0, 1, 0]))
    mesh.apply_translation(middle)
    return mesh


def pump():
    """Parts of the fire pump at 1:24, millimetres: x along it, y to the rear, z up."""
    rise = np.linspace(0, math.pi / 2, 9)
    outline = np.stack([8 * np.cos(rise), 66 + 8 * np.sin(rise)], axis=1)
    outline[-1, 0] = 0
    cap = trimesh.creation.revolve(np.vstack([[0, 66], outline]), sections=32)
    parts = {
        "sole plate": box([104, 40, 5], [0, 0, 14.5]),
        "tank": box([70, 32, 22], [0, 0, 28]),
        "air vessel": cylinder(8, 27, [0, 0, 52.5]),
        "vessel cap": cap,
        "beam post front": box([5, 3, 24], [22, -12, 51]),
        "beam post rear": box([5, 3, 24], [22, 12, 51]),
        "beam axle": cylinder(1.5, 30, [22, 0, 61], "y", 24),
        "beam": box([96, 3, 4], [14, -14.5, 61]),
        "handle left": cylinder(1.2, 44, [-33, 0, 61], "y", 24),
        "handle right": cylinder(1.2, 44, [60, 0, 61], "y", 24),
        "outlet": cylinder(4, 14, [42, 0, 27], "x", 24),
    }
    for along in ("left", "right"):
        for side in ("front", "rear"):
            middle = [-38 if along == "left" else 38, -23 if side == "front" else 23, 12]
            parts[f"wheel {side} {along}"] = cylinder(12, 4, middle, "y", 36)
    return parts


def write_obj(path, parts):
    with open(path, "w") as f:
        f.write("# The fire pump of the demo at 1:24, millimetres, x along it, z up; made by scripts/make_meshes.py\n")
        first = 1
        for name, mesh in parts.items():
            f.write(f"o {name}\n")
            f.writelines(f"v {x:.4f} {y:.4f} {z:.4f}\n" for x, y, z in mesh.vertices)
            f.writelines(f"f {a + first} {b + first} {c + first}\n" for a, b, c in mesh.faces)
            first += len(mesh.vertices)


def camera(eye, at, up, focal_px, size):
    """3 x 4: model mm to pixels, (0.5, 0.5) the first one's centre, x right, y down."""
    eye, at, up = (np.array(v, float) for v in (eye, at, up))
    away = (at - eye) / np.linalg.norm(at - eye)
    right = np.cross(away, up)
    right /= np.linalg.norm(right)
    turn = np.stack([right, np.cross(away, right), away])
    inner = np.array([[focal_px, 0, size[0] / 2], [0, focal_px, size[1] / 2], [0, 0, 1.0]])
    return inner @ np.hstack([turn, -(turn @ eye)[:, None]])


def small():
    """A tank and, turned and moved by its node, a vessel."""
    scene = trimesh.Scene()
    scene.add_geometry(trimesh.creation.box(extents=[20, 10, 8]), node_name="tank", geom_name="tank")
    place = translation_matrix([4, -2, 10]) @ rotation_matrix(math.radians(30), [1, 0, 0])
    vessel = trimesh.creation.cylinder(radius=3, height=12, sections=16)
    scene.add_geometry(vessel, node_name="vessel", geom_name="vessel", transform=place)
    return scene


def write_stored(path):
    """A package as it is, with components of another document: what the tests change reaches the XML."""
    corners = [(0, 0, 0), (4, 0, 0), (0, 4, 0), (0, 0, 4)]
    vertices = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in corners)
    facets = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in [(0, 2, 1), (0, 1, 3), (1, 2, 3), (0, 3, 2)])
    mesh = f'<object id="7" name="post"><mesh><vertices>{vertices}</vertices><triangles>{facets}</triangles></mesh></object>'
    used = [("1 0 0 0 1 0 0 0 1 10 0 0", 7), ("0 1 0 -1 0 0 0 0 1 0 0 0", 7)]
    parts = "".join(f'<component p:path="/3D/a.model" objectid="{i}" transform="{t}"/>' for t, i in used)
    head = '<?xml version="1.0"?><model unit="inch" xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06">'
    root = f'{head}<resources><object id="1"><components>{parts}</components></object></resources><build><item objectid="1"/></build></model>'
    with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as package:
        for name, text in (("3D/3dmodel.model", root), ("3D/a.model", f"{head}<resources>{mesh}</resources><build/></model>")):
            package.writestr(zipfile.ZipInfo(name), text)


def write_small(folder):
    scene = small()
    whole = scene.to_geometry()
    (folder / "binary.stl").write_bytes(whole.export(file_type="stl"))
    (folder / "text.stl").write_text(whole.export(file_type="stl_ascii"))
    (folder / "binary.ply").write_bytes(whole.export(file_type="ply", encoding="binary"))
    (folder / "text.ply").write_bytes(whole.export(file_type="ply", encoding="ascii"))
    (folder / "groups.obj").write_text(scene.export(file_type="obj", include_normals=False))
    (folder / "one-file.glb").write_bytes(scene.export(file_type="glb"))
    for name, data in scene.export(file_type="gltf", merge_buffers=True).items():
        (folder / ("beside.gltf" if name == "model.gltf" else name)).write_bytes(data)
    (folder / "package.3mf").write_bytes(scene.export(file_type="3mf"))
    write_stored(folder / "stored.3mf")
    parts = {}
    for node in scene.graph.nodes_geometry:
        place, name = scene.graph[node]
        mesh = scene.geometry[name].copy()
        mesh.apply_transform(place)
        parts[node] = dict(facets=len(mesh.faces), area=float(mesh.area), box=mesh.bounds.tolist())
    text = dict(writer=f"trimesh {trimesh.__version__}", parts=parts)
    (folder / "expected.json").write_text(json.dumps(text, indent=1) + "\n")


def main():
    folder = ROOT / "meshes"
    folder.mkdir(exist_ok=True)
    write_small(folder)
    write_obj(ROOT / "demo" / "pump.obj", pump())
    matrix = camera([150, -330, 190], [2, 0, 34], [0, 0, 1], 3000, [1200, 900])
    text = json.dumps({"matrix": [[round(v, 9) for v in row] for row in matrix.tolist()]})
    (ROOT / "demo" / "pump-camera.json").write_text(text.replace("], [", "],\n            [") + "\n")


if __name__ == "__main__":
    main()
