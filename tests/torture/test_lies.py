"""Files that say they hold more than they do, or unfold without end: refused, in little time and memory."""

import json
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np

from tests.torture.judge import STUCK, check_told
from tests.workbooks import ods_cell, ods_of, packed, xls

MOST_MB = 450  # the libraries themselves take 150; the largest of the files 60, and a reader some copies of it
TRIANGLE = np.zeros(12, dtype="<f4").tobytes() + b"\0\0"
MODEL = (
    '<?xml version="1.0"?>{doctype}<model unit="millimeter" '
    'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>{objects}</resources>'
    "<build>{items}</build></model>"
)
CONTENT = (
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Override PartName="/xl/workbook.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/><Override '
    'PartName="/xl/worksheets/sheet1.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>'
)
RELATION = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def glb(tree, body=b""):
    text = tree if isinstance(tree, bytes) else json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    total = 12 + 8 + len(text) + 8 + len(body)
    chunk = struct.pack("<I4s", len(body), b"BIN\0") + body
    return b"glTF" + struct.pack("<III", 2, total, len(text)) + b"JSON" + text + chunk


def mesh_tree(count, **more):
    view = {"buffer": 0, "byteOffset": 0, "byteLength": 36}
    accessor = {"bufferView": 0, "componentType": 5126, "count": count, "type": "VEC3"}
    mesh = {"primitives": [{"attributes": {"POSITION": 0}}]}
    tree = {"asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}], "nodes": [{"mesh": 0}]}
    tree |= {"meshes": [mesh], "accessors": [accessor], "bufferViews": [view], "buffers": [{"byteLength": 36}]}
    return tree | more


def ply(kind, header, body):
    return f"ply\nformat {kind} 1.0\n{header}end_header\n".encode() + body


def workbook(sheet, **more):
    return packed(
        {
            "[Content_Types].xml": CONTENT,
            "_rels/.rels": f'<Relationships xmlns="{PACKAGE}"><Relationship Id="r1" Type="{RELATION}/officeDocument" '
            'Target="xl/workbook.xml"/></Relationships>',
            "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r="{RELATION}"><sheets><sheet name="a" sheetId="1" '
            'r:id="r1"/></sheets></workbook>',
            "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}"><Relationship Id="r1" '
            f'Type="{RELATION}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
            "xl/worksheets/sheet1.xml": sheet,
        }
        | more
    )


def sheet_xml(rows):
    return f'<worksheet xmlns="{MAIN}"><sheetData>{rows}</sheetData></worksheet>'


def model(objects="", items="", doctype=""):
    return packed({"3D/3dmodel.model": MODEL.format(objects=objects, items=items, doctype=doctype)})


def lies():
    """Return file names and bytes, every one to be refused."""
    xyz = "property float x\nproperty float y\nproperty float z\n"
    faces = "property list uchar int vertex_indices\n"
    quadratic = '<!DOCTYPE m [<!ENTITY a "' + "a" * 50_000 + '">]>'
    laughs = "<!DOCTYPE m [<!ENTITY a 'aaaaaaaaaa'>" + "".join(
        f"<!ENTITY {b} '{('&' + a + ';') * 10}'>" for a, b in zip("abcdefgh", "bcdefghi", strict=True)
    )
    ring = "".join(
        f'<object id="{k}"><components>{f"""<component objectid="{k + 1}"/>""" * 10}</components></object>'
        for k in range(1, 12)
    )
    leaf = (
        '<object id="12"><mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/>'
        '<vertex x="0" y="1" z="0"/></vertices><triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh></object>'
    )
    shared = f'<sst xmlns="{MAIN}">' + f"<si><t>{'a' * 30_000}</t></si>" * 10 + "</sst>"
    inner = packed({"a": b"\0" * 20_000_000})
    deep = b"[" * 200_000
    wide = ods_cell(1).replace("<table:table-cell", '<table:table-cell table:number-columns-repeated="999999999"')
    whole_xls = xls([["station_mm", "height_mm", "width_mm"], [0, 40, 30], [50, 40, 30]])
    # The first sector of its directory ([MS-CFB], section 2.2: at byte 48), and the count of strings in the shared
    # table ([MS-XLS], section 2.4.265: record 0xFC, its second number).
    sectors = whole_xls[:48] + struct.pack("<I", 4_000_000_000) + whole_xls[52:]
    at = whole_xls.index(struct.pack("<H", 0xFC), 512)
    strings = whole_xls[: at + 8] + struct.pack("<I", 4_000_000_000) + whole_xls[at + 12 :]
    nodes = [{"children": [k + 1, k + 1]} for k in range(60)] + [{"mesh": 0}]
    return {
        "count.stl": b" " * 80 + struct.pack("<I", 4_000_000_000) + TRIANGLE * 10,
        "solid.stl": b"solid".ljust(80) + struct.pack("<I", 4_000_000_000) + TRIANGLE * 10,
        "endless.stl": b"solid a\n" + b"facet normal 0 0 0\nouter loop\nvertex 0 0 0\n" * 400_000,
        "blank.stl": b"solid" + b" " * 20_000_000 + b"endsolid",
        "one-line.stl": b"solid a facet normal vertex " + b"vertex " * 3_000_000 + b"endsolid",
        "vertices.ply": ply("binary_little_endian", f"element vertex 1000000000000\n{xyz}", b"\0" * 100),
        "text.ply": ply("ascii", f"element vertex 1000000000000\n{xyz}element face 4\n{faces}", b"0 0 0\n"),
        "faces.ply": ply(
            "binary_little_endian", f"element vertex 3\n{xyz}element face 2147483647\n{faces}", b"\0" * 99
        ),
        "no-properties.ply": ply(
            "binary_little_endian", f"element vertex 3\n{xyz}element a 1000000000000\n", b"\0" * 36
        ),
        "empty-lists.ply": ply(
            "ascii", f"element vertex 3\n{xyz}element a 999999999999\nproperty list uchar int b\n", b"0 0 0\n" * 3
        ),
        "list-count.ply": ply(
            "binary_little_endian",
            f"element vertex 3\n{xyz}element face 1\nproperty list uint int vertex_indices\n",
            b"\0" * 36 + struct.pack("<I", 4_000_000_000) + b"\0" * 12,
        ),
        "many-elements.ply": ply("ascii", "element a 0\n" * 5000 + f"element vertex 9\n{xyz}", b"0 0 0\n"),
        "huge-number.ply": ply("ascii", f"element vertex {'9' * 5000}\n{xyz}", b"0 0 0\n"),
        "count.off": b"OFF\n4000000000 4000000000 0\n0 0 0\n",
        "polygon.off": b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n4000000000 0 1 2\n",
        "digits.off": b"OFF\n" + b"9" * 6000 + b" 1 0\n0 0 0\n",
        "index.obj": b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 999999999999\n",
        "polygon.obj": b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf" + b" 1 2 3" * 200_000 + b"\n",
        "points.obj": b"v 0 0 0\n" * 1_000_000,
        "length.glb": b"glTF" + struct.pack("<III", 2, 4_000_000_000, 4_000_000_000) + b"JSON{}",
        "chunk.glb": glb(mesh_tree(3))[:12] + struct.pack("<I", 4_000_000_000) + b"JSON" + b"{}" * 20,
        "accessor.glb": glb(mesh_tree(4_000_000_000), b"\0" * 36),
        "view.glb": glb(
            mesh_tree(4_000_000_000, bufferViews=[{"buffer": 0, "byteLength": 4_000_000_000_000}]), b"\0" * 36
        ),
        "floats.glb": glb(mesh_tree(1e300), b"\0" * 36),
        "no-view.glb": glb(
            mesh_tree(3, accessors=[{"componentType": 5126, "count": 4_000_000_000, "type": "VEC3"}]), b"\0" * 36
        ),
        "deep.glb": glb(deep + deep.replace(b"[", b"]")),
        "nodes.glb": glb(mesh_tree(3, nodes=nodes), b"\0" * 36),
        "ring.glb": glb(mesh_tree(3, nodes=[{"children": [1]}, {"children": [0]}]), b"\0" * 36),
        "bomb.3mf": packed({"3D/3dmodel.model": b"<model>" + b" " * 100_000_000}),
        "many.3mf": packed({f"{k}.model": b"<a/>" for k in range(5000)}),
        "nested.3mf": packed({"3D/3dmodel.model": inner, "a.zip": inner}),
        "entities.3mf": model(f"<object id='1'>{'&a;' * 50_000}</object>", doctype=quadratic),
        "laughs.3mf": model("<object id='1'>&i;</object>", doctype=laughs + "]>"),
        "utf16.3mf": packed(
            {"3D/3dmodel.model": MODEL.format(objects="&i;", items="", doctype=laughs + "]>").encode("utf-16")}
        ),
        "placed.3mf": model(ring + leaf, '<item objectid="1"/>'),
        "round.3mf": model(
            '<object id="1"><components><component objectid="1"/></components></object>', '<item objectid="1"/>'
        ),
        "deep.3mf": model("<a>" * 50_000 + "</a>" * 50_000),
        "bomb.xlsx": workbook(b" " * 100_000_000),
        "rows.xlsx": workbook(sheet_xml("<row><c><v>1</v></c></row>" * 800_000)),
        "far-cell.xlsx": workbook(
            sheet_xml('<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"/>')
        ),
        "far-row.xlsx": workbook(sheet_xml('<row r="999999999"><c r="A999999999"><v>1</v></c></row>')),
        "entities.xlsx": workbook(f"<?xml version='1.0'?>{quadratic}<worksheet>{'&a;' * 50_000}</worksheet>"),
        "utf16.xlsx": workbook((laughs + "]><worksheet>&i;</worksheet>").encode("utf-16")),
        "strings.xlsx": workbook(
            sheet_xml('<row r="1">' + '<c t="s"><v>0</v></c>' * 100_000 + "</row>"), **{"xl/sharedStrings.xml": shared}
        ),
        "bomb.ods": packed({"content.xml": b"<a>" + b" " * 100_000_000}),
        "rows.ods": ods_of(
            f'<table:table-row table:number-rows-repeated="1048576">{ods_cell(1) * 50}</table:table-row>'
        ),
        "columns.ods": ods_of(f"<table:table-row>{wide}</table:table-row>"),
        "entities.ods": packed({"content.xml": f"<?xml version='1.0'?>{quadratic}<a>{'&a;' * 50_000}</a>"}),
        "laughs.ods": packed({"content.xml": laughs + "]><a>&i;</a>"}),
        "utf16.ods": packed({"content.xml": (laughs + "]><a>&i;</a>").encode("utf-16")}),
        "deep.ods": ods_of("<table:table-row>" * 100_000),
        "sectors.xls": sectors,
        "strings.xls": strings,
        "cut.xls": whole_xls[: len(whole_xls) // 2],
        "blank.xls": whole_xls[:512] + b"\xff" * 4_000_000,
        "rows.csv": b"station_mm,height_mm,width_mm\n" + b"1,2,3\n" * 700_000,
        "cell.csv": b"station_mm,height_mm,width_mm\n1," + b"2" * 4_000_000 + b",3\n",
        "columns.csv": b"a," * 2_000_000 + b"\n",
        "number.csv": b"station_mm,height_mm,width_mm\n0," + b"9" * 9_000 + b",3\n1,2,3\n",
        "quotes.csv": b'station_mm,height_mm,width_mm\n0,"' + b"a\n" * 2_000_000,
    }


PROGRAM = """
import contextlib, io, json, sys
from portgeo.app.cli import main
from tests.torture.judge import peak_bytes
for name in sys.argv[1:]:
    err = io.StringIO()
    with contextlib.redirect_stderr(err), contextlib.redirect_stdout(io.StringIO()):
        try:
            status = main(["measure", name, "-q"])
        except BaseException as fault:
            status = repr(fault)[:300]
    print(json.dumps([name, status, err.getvalue(), peak_bytes() / 1e6]), flush=True)
"""


def test_a_file_that_lies_about_its_size_is_refused_in_bounded_memory(tmp_path):
    files = lies()
    for name, data in files.items():
        (tmp_path / name).write_bytes(data)
    words = [sys.executable, "-c", PROGRAM, *(str(tmp_path / name) for name in files)]
    top = Path(__file__).resolve().parents[2]  # the program takes its judge from the tests
    done = subprocess.run(words, capture_output=True, text=True, timeout=STUCK, cwd=top)
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(rows) == len(files), f"ended after {rows[-1] if rows else 'nothing'}: {done.returncode} {done.stderr}"
    faults = [row for row in rows if row[1] != 2 or row[0] not in row[2] or row[3] > MOST_MB]
    assert not faults, "\n".join(map(str, faults))
    for row in rows:
        check_told(row[2])
