"""Meshes keep their shape and their unit through every format; damaged files are refused."""

import io
import struct
import time
import zipfile

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from portgeo.core.errors import InputError, OutputError, PortgeoError
from portgeo.core.triangles import volume
from portgeo.files.meshes.mesh import READ, WRITTEN, read_mesh, write_mesh
from portgeo.files.meshes.stl import unique_points

# A closed box whose volume and corners everyone knows: 10 x 20 x 30 mm.
BOX = trimesh.creation.box((10.0, 20.0, 30.0))
VERTICES, FACES = np.array(BOX.vertices) + 5.0, np.array(BOX.faces)
BOX_MM3 = 6000.0


def tube(rings, around):
    """Return a long open tube of 2 * rings * around triangles."""
    angle = np.arange(around) * 2 * np.pi / around
    along = np.linspace(0, 100, rings + 1)
    ring = 20.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    vertices = np.column_stack([np.repeat(along, around), np.tile(ring, (rings + 1, 1))])
    i = np.arange(rings * around)
    j = i // around * around + (i + 1) % around
    return vertices, np.vstack([np.c_[i, j, i + around], np.c_[j, j + around, i + around]])


@pytest.mark.parametrize("suffix", WRITTEN)
def test_a_mesh_comes_back_as_it_was(tmp_path, suffix):
    path = tmp_path / f"box{suffix}"
    write_mesh(path, VERTICES, FACES)
    back = read_mesh(path)
    assert (back.unit_from, back.unit) == ("file", "m" if suffix == ".glb" else "mm")
    assert len(back.vertices) == 8 and back.triangles == len(back.faces) == 12
    assert back.vertices.dtype == np.float64 and back.faces.dtype == np.int64
    tolerance = 1e-12 if suffix in (".ply", ".obj", ".3mf") else 1e-6  # the others are single precision
    assert volume(back.vertices, back.faces) == pytest.approx(BOX_MM3, rel=tolerance)
    assert back.vertices.min(axis=0) == pytest.approx(VERTICES.min(axis=0), abs=1e-5)


@pytest.mark.parametrize("suffix", WRITTEN)
def test_another_library_finds_the_same_solid_in_its_declared_unit(tmp_path, suffix):
    path = tmp_path / f"box{suffix}"
    write_mesh(path, VERTICES, FACES)
    mesh = trimesh.load(path, force="mesh")
    to_mm = {".glb": 1000.0}.get(suffix, 1.0)  # glTF 2.0, section 3.4: metres
    if suffix == ".3mf":
        assert mesh.units in ("millimeter", "millimeters", "mm")
    assert mesh.is_watertight
    assert mesh.volume * to_mm**3 == pytest.approx(BOX_MM3, rel=1e-5)


@pytest.mark.parametrize("suffix", WRITTEN)
def test_the_same_mesh_gives_the_same_bytes_on_another_day(tmp_path, suffix, monkeypatch):
    paths = [tmp_path / f"{k}{suffix}" for k in range(2)]
    colours = np.tile([10, 20, 30, 255], (8, 1))
    write_mesh(paths[0], VERTICES, FACES, colours=colours)
    tomorrow = time.time() + 86_400.0  # a zip's members have time stamps
    monkeypatch.setattr(time, "time", lambda: tomorrow)
    write_mesh(paths[1], VERTICES, FACES, colours=colours)
    assert paths[0].read_bytes() == paths[1].read_bytes()


@pytest.mark.parametrize("suffix", [".ply", ".glb"])
def test_colours_are_kept(tmp_path, suffix):
    path = tmp_path / f"box{suffix}"
    colours = np.arange(32, dtype=np.uint8).reshape(8, 4) * 7
    write_mesh(path, VERTICES, FACES, colours=colours)
    back = trimesh.load(path, force="mesh", process=False)
    order = np.lexsort(np.round(np.array(back.vertices) * (1000 if suffix == ".glb" else 1), 3).T)
    expected = np.lexsort(VERTICES.T)
    assert (np.array(back.visual.vertex_colors)[order] == colours[expected]).all()


def test_an_existing_file_an_unknown_ending_and_a_missing_folder_are_refused(tmp_path):
    write_mesh(tmp_path / "a.stl", VERTICES, FACES)
    for path in (tmp_path / "a.stl", tmp_path / "a.step", tmp_path / "a", tmp_path / "no" / "a.stl"):
        with pytest.raises(OutputError):
            write_mesh(path, VERTICES, FACES)
    write_mesh(tmp_path / "a.stl", VERTICES, FACES, force=True)
    with pytest.raises(OutputError, match="3mf"):
        write_mesh(tmp_path / "a.step", VERTICES, FACES)


def test_a_unit_given_goes_before_the_files_and_none_leaves_numbers_alone(tmp_path):
    path = tmp_path / "box.stl"
    BOX.export(path)
    plain = read_mesh(path)
    assert (plain.unit, plain.unit_from) == (None, None)
    assert volume(plain.vertices, plain.faces) == pytest.approx(BOX_MM3, rel=1e-6)
    inches = read_mesh(path, unit="in")
    assert (inches.unit, inches.unit_from) == ("in", "option")
    assert volume(inches.vertices, inches.faces) == pytest.approx(BOX_MM3 * 25.4**3, rel=1e-6)
    write_mesh(tmp_path / "box.3mf", VERTICES, FACES)
    assert read_mesh(tmp_path / "box.3mf", unit="in").unit_from == "option"
    with pytest.raises(InputError):
        read_mesh(path, unit="furlong")


@pytest.mark.parametrize("kind", ["stl_ascii", "off", "obj", "ply", "glb"])
def test_files_of_another_writer_are_read(tmp_path, kind):
    path = tmp_path / f"box.{kind.partition('_')[0]}"
    BOX.export(path, file_type=kind)
    back = read_mesh(path, unit="mm")
    assert len(back.vertices) == 8
    assert volume(back.vertices, back.faces) == pytest.approx(BOX_MM3, rel=1e-6)


def three_mf(body, unit="millimeter"):
    core = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("3D/3dmodel.model", f'<model unit="{unit}" xmlns="{core}">{body}</model>')
    return out.getvalue()


def mesh_object(number):
    points = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in BOX.vertices.tolist())
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in FACES.tolist())
    mesh = f"<mesh><vertices>{points}</vertices><triangles>{triangles}</triangles></mesh>"
    return f'<object id="{number}">{mesh}</object>'


def test_a_3mf_is_read_as_built(tmp_path):
    """Components and items move, mirror and scale as the core specification says (row vectors)."""
    moved = '<component objectid="1" transform="1 0 0 0 1 0 0 0 1 100 0 0"/>'
    mirrored = '<component objectid="1" transform="-1 0 0 0 1 0 0 0 1 -100 0 0"/>'
    body = (
        f'<resources>{mesh_object(1)}<object id="2"><components>{moved}{mirrored}</components></object>'
        "</resources>"
        '<build><item objectid="2" transform="2 0 0 0 2 0 0 0 2 0 7 0"/></build>'
    )
    path = tmp_path / "two.3mf"
    path.write_bytes(three_mf(body, "inch"))
    back = read_mesh(path)
    assert (back.unit, back.unit_from, back.triangles) == ("in", "file", 24)
    assert volume(back.vertices, back.faces) == pytest.approx(2 * 8 * BOX_MM3 * 25.4**3, rel=1e-9)
    assert back.vertices[:, 1].mean() == pytest.approx(7 * 25.4)
    other = trimesh.load(path, force="mesh")
    assert back.vertices.max(axis=0) == pytest.approx(np.array(other.vertices).max(axis=0) * 25.4)


def test_a_nested_or_expanding_3mf_is_refused(tmp_path):
    path = tmp_path / "bad.3mf"
    layers = "".join(
        f'<object id="{k}"><components>' + f'<component objectid="{k - 1}"/>' * 10 + "</components></object>"
        for k in range(2, 12)
    )
    path.write_bytes(three_mf(f'<resources>{mesh_object(1)}{layers}</resources><build><item objectid="11"/></build>'))
    with pytest.raises(InputError):
        read_mesh(path)
    path.write_bytes(three_mf(" " * 30_000_000))
    with pytest.raises(InputError, match="expands"):
        read_mesh(path)
    entity = '<!DOCTYPE m [<!ENTITY a "aaaa">]>'
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("3D/3dmodel.model", entity + "<model>&a;</model>")
    path.write_bytes(out.getvalue())
    with pytest.raises(InputError, match="entities"):
        read_mesh(path)


def stl(count, corners):
    triangles = np.zeros(len(corners), dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("a", "<u2")])
    triangles["c"] = corners
    return b" " * 80 + struct.pack("<I", count) + triangles.tobytes()


def test_a_count_that_lies_costs_no_memory(tmp_path):
    corners = np.arange(18.0).reshape(2, 3, 3)
    ply = b"ply\nformat binary_little_endian 1.0\nelement vertex 4000000000\n"
    ply += (
        b"property double x\nproperty double y\nproperty double z\n"
        b"element face 1\nproperty list uchar int vertex_indices\nend_header\n" + b"\0" * 100
    )
    bad = {
        "high.stl": stl(4_000_000_000, corners),
        "low.stl": stl(1, corners),
        "cut.stl": stl(2, corners)[:-10],
        "none.stl": stl(0, corners[:0]),
        "bare.stl": b"solid a\nendsolid a\n",
        "lies.ply": ply,
        "ascii.ply": ply.replace(b"binary_little_endian", b"ascii"),
        "lies.off": b"OFF\n2000000000 2000000000 0\n0 0 0\n",
    }
    for name, data in bad.items():
        (tmp_path / name).write_bytes(data)
        with pytest.raises(InputError) as refusal:
            read_mesh(tmp_path / name)
        assert refusal.value.file == str(tmp_path / name) and refusal.value.hint


@pytest.mark.parametrize("wrong", [np.nan, np.inf, -np.inf])
def test_coordinates_that_are_no_numbers_are_refused(tmp_path, wrong):
    corners = np.arange(18.0).reshape(2, 3, 3)
    corners[1, 2, 0] = wrong
    (tmp_path / "a.stl").write_bytes(stl(2, corners))
    vertices = VERTICES.copy()
    vertices[3, 1] = wrong
    for suffix in (".ply", ".obj", ".3mf"):
        write_mesh(tmp_path / f"a{suffix}", vertices, FACES)
    for suffix in (".stl", ".ply", ".obj", ".3mf"):
        with pytest.raises(InputError):
            read_mesh(tmp_path / f"a{suffix}")


def test_points_without_triangles_and_indices_past_the_end_are_refused(tmp_path):
    (tmp_path / "points.ply").write_bytes(
        b"ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\n"
        b"property float z\nend_header\n1 2 3\n"
    )
    (tmp_path / "past.obj").write_bytes(b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n")
    (tmp_path / "past.off").write_bytes(b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 9\n")
    for name in ("points.ply", "past.obj", "past.off"):
        with pytest.raises(InputError):
            read_mesh(tmp_path / name)


@pytest.mark.parametrize("suffix", READ)
def test_cut_short_empty_and_missing_files_are_refused(tmp_path, suffix):
    path = tmp_path / f"box{suffix}"
    BOX.export(path) if suffix == ".off" else write_mesh(path, VERTICES, FACES)
    whole = path.read_bytes()
    for share in (0.0, 0.1, 0.5, 0.9):
        path.write_bytes(whole[: int(len(whole) * share)])
        if suffix == ".obj" and share == 0.9:
            continue  # text with a face less is a whole OBJ: its holes are found where meshes are judged
        with pytest.raises(InputError):
            read_mesh(path)
    with pytest.raises(InputError):
        read_mesh(tmp_path / f"no{suffix}")
    with pytest.raises(InputError):
        read_mesh(tmp_path / "box.step")


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(suffix=st.sampled_from(READ), data=st.data())
def test_no_bytes_give_a_traceback(tmp_path, suffix, data):
    path = tmp_path / f"fuzz{suffix}"
    if data.draw(st.booleans()):
        path.write_bytes(data.draw(st.binary(max_size=300)))
    else:
        if suffix == ".off":
            BOX.export(path)
        else:
            write_mesh(path, VERTICES, FACES, force=True)
        content = bytearray(path.read_bytes())
        for _ in range(data.draw(st.integers(1, 6))):
            content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
        path.write_bytes(content)
    try:
        mesh = read_mesh(path)
    except PortgeoError as refusal:
        assert refusal.file == str(path)
    else:
        assert np.isfinite(mesh.vertices).all() and mesh.faces.max() < len(mesh.vertices)


@given(st.lists(st.tuples(*[st.sampled_from([0.0, -0.0, 1.0, 1.0000001, -1.0])] * 3), min_size=1, max_size=60))
def test_the_weld_makes_equal_points_one_and_no_others(points):
    points = np.array(points, dtype=np.float32)
    first, number = unique_points(points.copy())
    assert (points[first][number] == points).all()
    assert len(first) == len(np.unique(points + np.float32(0), axis=0))
    assert (np.diff(first) > 0).all()


def test_a_clash_of_hashes_is_seen(monkeypatch):
    from portgeo.files.meshes import stl as module

    monkeypatch.setattr(module, "_hash", lambda points: np.zeros(len(points), dtype=np.uint64))
    points = np.random.default_rng(1).integers(0, 3, (500, 3)).astype(np.float32)
    first, number = module.unique_points(points)
    assert len(first) == 27 and (points[first][number] == points).all()
