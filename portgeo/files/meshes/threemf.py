"""3MF (3D Manufacturing Format, core specification 1.3): a zip with the mesh in XML.

The file's bytes come in; vertices, faces and its unit go out, or the reverse.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from typing import Any

import numpy as np

from portgeo.core.errors import InputError
from portgeo.core.plane import FloatArray, IntArray
from portgeo.core.units import MM_PER
from portgeo.files.archives import members

Mesh = tuple[FloatArray, IntArray]
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
LIMIT = 600_000_000  # bytes a file may expand to: some 6 million triangles
PLACINGS = 10_000  # of objects, so that objects that name each other come to an end
TRIANGLES = 20_000_000  # in all, each placing counted
MM_PER_UNIT = {
    "micron": 0.001, "millimeter": 1.0, "centimeter": MM_PER["cm"], "inch": MM_PER["in"],
    "foot": 12.0 * MM_PER["in"], "meter": MM_PER["m"],
}  # fmt: skip
UNIT_NAMES = {"millimeter": "mm", "centimeter": "cm", "inch": "in", "meter": "m"}
CONTENT_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>'
    "</Types>\n"
)
RELATIONS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="rel0" Target="/3D/3dmodel.model" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>\n'
)
EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest a zip can say, so that the same mesh gives the same bytes


def write_3mf(vertices: FloatArray, faces: IntArray) -> bytes:
    """Return a 3MF file that declares millimeters."""
    points = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>\n' for x, y, z in vertices.tolist())
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>\n' for a, b, c in faces.tolist())
    model = (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<model unit="millimeter" xml:lang="en-US" xmlns="{CORE}">\n'
        f'<resources><object id="1" type="model"><mesh>\n<vertices>\n{points}</vertices>\n'
        f"<triangles>\n{triangles}</triangles>\n</mesh></object></resources>\n"
        '<build><item objectid="1"/></build>\n</model>\n'
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in (
            ("[Content_Types].xml", CONTENT_TYPES), ("_rels/.rels", RELATIONS), ("3D/3dmodel.model", model),
        ):  # fmt: skip
            info = zipfile.ZipInfo(name, EPOCH)
            info.compress_type, info.create_system = zipfile.ZIP_DEFLATED, 0
            archive.writestr(info, text)
    return out.getvalue()


def read_3mf(data: bytes, file: str) -> tuple[FloatArray, IntArray, str, float]:
    """Return vertices and faces as built, in the file's unit; the unit's name; and mm per unit.

    Raises InputError where the file is broken or holds no mesh.
    """
    from lxml import etree

    parser = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True)
    try:
        models = {
            "/" + name.lstrip("/"): etree.fromstring(content, parser)
            for name, content in members(data, file, "a 3MF file", LIMIT).items()
            if name.lower().endswith(".model")
        }
        if not models:
            raise InputError("the file holds no 3D model", hint="Export it again as 3MF")
        root = models.get("/3D/3dmodel.model")
        main = "/3D/3dmodel.model" if root is not None else min(models)
        unit = models[main].get("unit", "millimeter")
        if unit not in MM_PER_UNIT:
            raise InputError(f"the file's unit is {unit[:40]!r}", hint="Export it again in millimeters")
        objects = {
            (name, part.get("id")): part for name, tree in models.items() for part in tree.iter(f"{{{CORE}}}object")
        }
        parts = list(_built(objects, main, list(models[main].iter(f"{{{CORE}}}item"))))
    except (etree.XMLSyntaxError, ValueError, TypeError, LookupError) as error:
        raise InputError("its model is damaged", hint="Export it again as 3MF") from error
    if not parts:
        raise InputError("the file places no mesh", hint="Export it again as 3MF")
    offset = np.cumsum([0] + [len(v) for v, _ in parts[:-1]])
    vertices = np.vstack([v for v, _ in parts])
    faces = np.vstack([f + o for (_, f), o in zip(parts, offset, strict=True)])
    return vertices, faces, UNIT_NAMES.get(unit, unit), MM_PER_UNIT[unit]


def _built(objects: dict[tuple[str, str | None], Any], model: str, items: list[Any]) -> Iterator[Mesh]:
    """Return the meshes that build items of `model` name, by way of components, where they put them."""
    meshes: dict[tuple[str, str | None], Mesh] = {}
    waiting = [(model, item, np.eye(4)) for item in reversed(items)]
    visits = triangles = 0
    while waiting:
        model, item, outer = waiting.pop()
        # The production extension lets an item name an object of another part of the archive.
        key = (next((v for k, v in item.attrib.items() if k.endswith("}path")), model), item.get("objectid"))
        if key not in meshes:
            meshes[key] = _mesh(objects[key])
        vertices, faces = meshes[key]
        visits, triangles = visits + 1, triangles + len(faces)
        if visits > PLACINGS or triangles > TRIANGLES:
            raise InputError("the file places objects without end", hint="Export only the port")
        place = _transform(item.get("transform")) @ outer
        if len(faces):
            mirrored = np.linalg.det(place[:3, :3]) < 0
            yield vertices @ place[:3, :3] + place[3, :3], faces[:, ::-1] if mirrored else faces
        components = list(objects[key].iter(f"{{{CORE}}}component"))
        waiting += [(key[0], component, place) for component in reversed(components)]


def _mesh(thing: Any) -> Mesh:
    """Return an object's own mesh, of no triangles where it has only components."""
    points = [(v.get("x"), v.get("y"), v.get("z")) for v in thing.iter(f"{{{CORE}}}vertex")]
    corners = [(t.get("v1"), t.get("v2"), t.get("v3")) for t in thing.iter(f"{{{CORE}}}triangle")]
    vertices = np.array(points, dtype=np.float64).reshape(-1, 3)
    faces = np.array(corners, dtype=np.int64).reshape(-1, 3)
    if not np.isfinite(vertices).all():
        raise ValueError("a coordinate is not a finite number")
    if len(faces) and not (0 <= faces.min() and faces.max() < len(vertices)):
        raise ValueError("a triangle names a vertex that is not there")
    return vertices, faces


def _transform(text: str | None) -> FloatArray:
    """Return the 4x4 of a transform's twelve numbers, for row vectors (core specification, 3.3)."""
    matrix = np.eye(4)
    if text:
        matrix[:, :3] = np.array([float(number) for number in text.split()]).reshape(4, 3)
    return matrix
