"""Outlines traced in every format are the figures that were drawn, seen from the right side."""

import math

import ezdxf
import numpy as np
import pytest
from ezdxf.math import BSpline
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.special import ellipe

from portgeo.core.errors import GeometryError, InputError, PortgeoError
from portgeo.core.plane import moments
from portgeo.files.drawings.outlines import read_outline

CHORD = 0.005  # mm: the most a chord may be off its curve
INCH = 25.4


def dxf(folder, draw, units=4, version="R2010", name="a.dxf"):
    document = ezdxf.new(version, units=units)
    draw(document.modelspace())
    document.saveas(folder / name)
    return folder / name


def svg(folder, body, head='width="100mm" height="100mm" viewBox="0 0 100 100"'):
    path = folder / "a.svg"
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {head}>{body}</svg>')
    return path


def csv(folder, points, header="", name="a.csv"):
    path = folder / name
    path.write_text(header + "\n".join(f"{x!r},{y!r}" for x, y in points) + "\n")
    return path


def check_curve(outline, area, girth):
    """Check that a polygon inscribed in a curve is within the chord error of it."""
    m = moments(outline)
    assert m.area > 0
    assert abs(m.area - area) <= CHORD * girth
    assert m.perimeter == pytest.approx(girth, rel=1e-3)


def check_circle(outline, radius, centre):
    middles = (outline + np.roll(outline, 1, axis=0)) / 2.0
    assert np.abs(np.linalg.norm(outline - centre, axis=1) - radius).max() < CHORD
    assert np.abs(np.linalg.norm(middles - centre, axis=1) - radius).max() < CHORD
    check_curve(outline, np.pi * radius**2, 2 * np.pi * radius)


# A figure that tells left from right and up from down: a corner is cut off at the top right.
MARKED = [(0.0, 0.0), (30.0, 0.0), (30.0, 15.0), (20.0, 20.0), (0.0, 20.0)]
MARKED_SEEN = {(0.0, 0.0), (-30.0, 0.0), (-30.0, 15.0), (-20.0, 20.0), (0.0, 20.0)}


def corners(outline):
    return {(round(x, 4) + 0.0, round(y, 4) + 0.0) for x, y in outline}


def test_right_in_the_picture_is_the_right_wall_and_up_is_the_roof(tmp_path):
    drawn = dxf(tmp_path, lambda space: space.add_lwpolyline(MARKED, close=True))
    assert corners(read_outline(drawn, "mm")) == MARKED_SEEN
    assert corners(read_outline(csv(tmp_path, [*MARKED, MARKED[0]]), "mm")) == MARKED_SEEN
    points = " ".join(f"{x},{-y}" for x, y in MARKED)  # in SVG y is down
    assert corners(read_outline(svg(tmp_path, f'<polygon points="{points}"/>'), "mm")) == MARKED_SEEN
    for path in tmp_path.iterdir():
        assert moments(read_outline(path, "mm")).area == pytest.approx(575.0, rel=1e-5)


def test_dxf_circle_and_ellipse(tmp_path):
    circle = dxf(tmp_path, lambda space: space.add_circle((7, 3), 20))
    check_circle(read_outline(circle, "mm"), 20.0, [-7, 3])
    turned = (25 * math.cos(0.5), 25 * math.sin(0.5))
    ellipse = read_outline(dxf(tmp_path, lambda space: space.add_ellipse((1, 2), turned, 0.6)), "mm")
    # The perimeter of an ellipse is 4 a E(e^2) (scipy.special.ellipe).
    check_curve(ellipse, np.pi * 25 * 15, 4 * 25 * ellipe(1 - 0.36))
    assert moments(ellipse).centroid == pytest.approx([-1, 2], abs=1e-3)
    along = (ellipse - [-1, 2]) @ [-math.cos(0.5), math.sin(0.5)]
    assert along.max() == pytest.approx(25, abs=CHORD)


@pytest.mark.parametrize("bulge", [1.0, -1.0])
def test_dxf_bulges_are_arcs(tmp_path, bulge):
    """A stadium: a square between two half circles, which a bulge of 1 draws (DXF reference, group 42)."""
    points = [(0, 0, 0), (40, 0, bulge), (40, 20, 0), (0, 20, bulge)]
    if bulge < 0:
        points = [(x, 20 - y, b) for x, y, b in points]
    for kind in ("lw", "old"):

        def draw(space, kind=kind):
            if kind == "lw":
                space.add_lwpolyline(points, format="xyb", close=True)
            else:
                space.add_polyline2d(points, format="xyb", close=True)

        outline = read_outline(dxf(tmp_path, draw), "mm")
        check_curve(outline, 800 + np.pi * 100, 80 + 20 * np.pi)
        assert outline.min(axis=0) == pytest.approx([-50, 0], abs=CHORD)


def test_dxf_spline_of_a_circle(tmp_path):
    """A rational quadratic B-spline is a circle exactly (Piegl and Tiller, The NURBS Book, section 7.5)."""
    w = math.sqrt(0.5)
    control = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)]
    curve = BSpline(
        [(20 * x, 20 * y, 0) for x, y in control],
        order=3,
        knots=[0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4],
        weights=[1, w, 1, w, 1, w, 1, w, 1],
    )
    outline = read_outline(dxf(tmp_path, lambda space: space.add_spline().apply_construction_tool(curve)), "mm")
    check_circle(outline, 20.0, [0, 0])


def rounded_box(space, gap=0.0):
    """Draw a box 40 x 20 with corners of radius 5, of lines and arcs in no order and any sense."""
    space.add_line((35 + gap, 0), (5, 0))
    space.add_arc((5, 15), 5, 90, 180)
    space.add_line((40, 5), (40, 15))
    space.add_arc((35, 5), 5, 270, 360)
    space.add_line((0, 5.004), (0, 15))
    space.add_arc((35, 15), 5, 0, 90)
    space.add_line((5, 20), (35, 20))
    space.add_arc((5, 5), 5, 180, 270)
    space.add_text("port 1")
    space.add_point((3, 3))


def test_dxf_lines_and_arcs_are_joined(tmp_path):
    outline = read_outline(dxf(tmp_path, rounded_box), "mm")
    check_curve(outline, 800 - (4 - np.pi) * 25, 80 + 10 * np.pi)
    assert len(np.unique(outline.round(6), axis=0)) == len(outline)
    read_outline(dxf(tmp_path, lambda space: rounded_box(space, 0.04)), "mm")
    with pytest.raises(GeometryError, match=r"gap of 0\.300 of its own units at x 35"):
        read_outline(dxf(tmp_path, lambda space: rounded_box(space, 0.3)), "mm")


def test_a_block_in_a_mirrored_plane_is_drawn_where_it_is(tmp_path):
    document = ezdxf.new(units=4)
    document.blocks.new("part").add_lwpolyline(MARKED, close=True)
    document.modelspace().add_blockref("part", (100, 0), dxfattribs={"xscale": -1})
    document.saveas(tmp_path / "a.dxf")
    assert corners(read_outline(tmp_path / "a.dxf", "mm")) == {(-100 - x, y) for x, y in MARKED_SEEN}
    mirrored = dxf(tmp_path, lambda space: space.add_circle((7, 3), 20, dxfattribs={"extrusion": (0, 0, -1)}))
    check_circle(read_outline(mirrored, "mm"), 20.0, [7, 3])


@pytest.mark.parametrize(("units", "scale"), [(1, INCH), (4, 1.0), (5, 10.0), (0, INCH)])
def test_the_drawings_own_unit_is_used_and_the_sheets_where_it_has_none(tmp_path, units, scale):
    path = dxf(tmp_path, lambda space: space.add_circle((0, 0), 2), units)
    check_circle(read_outline(path, "in"), 2 * scale, [0, 0])


def test_an_old_or_bare_or_binary_dxf_is_read(tmp_path):
    bare = "0\nSECTION\n2\nENTITIES\n0\nCIRCLE\n8\n0\n10\n0.\n20\n0.\n40\n2.\n0\nENDSEC\n0\nEOF\n"
    (tmp_path / "bare.dxf").write_text(bare)
    check_circle(read_outline(tmp_path / "bare.dxf", "in"), 2 * INCH, [0, 0])
    check_circle(read_outline(tmp_path / "bare.dxf", "mm"), 2, [0, 0])
    document = ezdxf.new(units=1)
    document.modelspace().add_circle((0, 0), 2)
    document.saveas(tmp_path / "binary.dxf", fmt="bin")
    check_circle(read_outline(tmp_path / "binary.dxf", "mm"), 2 * INCH, [0, 0])


CIRCLE = '<circle cx="50" cy="30" r="20"/>'
BEZIER = 20 * 4 / 3 * (math.sqrt(2) - 1)  # control arm of the usual four-cubic circle, off by 2.7e-4 r


@pytest.mark.parametrize(
    ("body", "centre", "radius", "off"),
    [
        (CIRCLE, (-50, -30), 20, 0.0),
        ('<ellipse cx="50" cy="30" rx="20" ry="20" transform="rotate(30 50 30)"/>', (-50, -30), 20, 0.0),
        (
            '<circle r="20" transform="translate(50 30) rotate(25) scale(2 .5) scale(.5 2)"/>',
            (-50, -30),
            20,
            0.0,
        ),
        ('<rect x="30" y="10" width="40" height="40" rx="20"/>', (-50, -30), 20, 0.0),
        ('<path d="M30 30 A20 20 0 0 1 70 30 A20 20 0 0 1 30 30 z"/>', (-50, -30), 20, 0.0),
        ('<g transform="translate(50 30) scale(2)"><circle r="10"/></g>', (-50, -30), 20, 0.0),
        (
            f'<path d="M20 0 c0 {BEZIER} {BEZIER - 20} 20 -20 20 s-20 {BEZIER - 20} -20 -20 '
            f's{20 - BEZIER} -20 20 -20 S20 {-BEZIER} 20 0"/>',
            (0, 0),
            20,
            2.8e-4 * 20,
        ),
    ],
)
def test_svg_shapes(tmp_path, body, centre, radius, off):
    outline = read_outline(svg(tmp_path, body), "in")
    distance = np.linalg.norm(outline - centre, axis=1)
    assert np.abs(distance - radius).max() < CHORD + off
    check_curve(outline, np.pi * radius**2, 2 * np.pi * (radius + off))


@pytest.mark.parametrize(
    ("head", "unit_mm"),
    [
        ('width="2in" height="2in" viewBox="0 0 100 100"', 2 * INCH / 100),
        ("", INCH / 96),  # CSS Values 3, section 5.2: a pixel is 1/96 in
        ('viewBox="0 0 100 100"', INCH / 96),
        ('width="10cm" height="10cm" viewBox="0 0 200 200"', 0.5),
    ],
)
def test_svg_units(tmp_path, head, unit_mm):
    outline = read_outline(svg(tmp_path, CIRCLE, head), "in")
    check_circle(outline, 20 * unit_mm, [-50 * unit_mm, -30 * unit_mm])


def test_traces_in_either_unit_order_and_separator(tmp_path):
    angle = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    ring = np.column_stack([3 + np.cos(angle), np.sin(angle)])
    for header, unit, scale in (
        ("x_in,y_in\n", "mm", INCH),
        ("", "in", INCH),
        ("X (mm),Y (mm)\n", "in", 1.0),
    ):
        outline = read_outline(csv(tmp_path, ring.tolist(), header), unit)
        assert moments(outline).area == pytest.approx(np.pi * scale**2, rel=1e-4)
        assert moments(outline).centroid == pytest.approx([-3 * scale, 0], abs=1e-9)
    lines = "\n".join(f"{y:.6f};{x:.6f}".replace(".", ",") for x, y in ring)
    (tmp_path / "a.csv").write_text("# by hand\ny_in;x_in\n" + lines)
    assert moments(read_outline(tmp_path / "a.csv", "mm")).centroid == pytest.approx([-3 * INCH, 0], abs=1e-4)


def test_repeated_points_are_dropped(tmp_path):
    outline = read_outline(csv(tmp_path, [p for p in [*MARKED, MARKED[0]] for _ in range(3)]), "mm")
    assert len(outline) == len(MARKED)


SQUARE = [(0, 0), (20, 0), (20, 20), (0, 20), (0, 0)]


@pytest.mark.parametrize(
    ("points", "reason"),
    [
        (SQUARE[:-1], r"gap of 20\.000 of its own units at x 0, y 20"),
        ([(0, 0), (20, 20), (20, 0), (0, 20), (0, 0)], "itself at x 10, y 10"),
        ([(0, 0), (20, 0), (10, 0), (0, 0)], "no area"),
        ([(0, 0), (20, 0), (0, 0)], "no area"),
        ([(1, 1)] * 5, "no area"),
        ([(0, 0), (1, 1)], "2 points"),
        ([(100 * x, 100 * y) for x, y in SQUARE], "not the size of a port"),
        ([(x / 100, y / 100) for x, y in SQUARE], "not the size of a port"),
    ],
)
def test_traces_that_are_no_outline_are_refused(tmp_path, points, reason):
    path = csv(tmp_path, points)
    with pytest.raises(PortgeoError, match=reason) as caught:
        read_outline(path, "mm")
    assert caught.value.file == str(path)


def test_drawings_with_more_or_less_than_one_outline_are_refused(tmp_path):
    def circles(space):
        for k in range(3):
            space.add_circle((50 * k, 0), 10)

    def loose(space):
        space.add_circle((0, 0), 10)
        space.add_line((0, 0), (5, 5))

    def crowded(space):
        rounded_box(space)
        space.add_line((40, 15), (50, 15))

    def standing(space):
        space.add_polyline3d([(0, 0, 0), (20, 0, 0), (20, 0, 20), (0, 5, 20)], close=True)

    for draw, reason in (
        (circles, "found 3 closed outlines"),
        (loose, "found 1 closed outlines and 1 open lines"),
        (crowded, "3 lines meet at x 40, y 15"),
        (standing, "not flat"),
        (lambda space: space.add_text("empty"), "no lines"),
        (lambda space: space.add_circle((0, 0), 1e9), "larger"),
    ):
        with pytest.raises(PortgeoError, match=reason):
            read_outline(dxf(tmp_path, draw), "mm")
    for body, reason in (
        (CIRCLE + '<circle r="5"/>', "found 2"),
        ("", "no lines"),
        ("<circle", "cannot be read"),
    ):
        with pytest.raises(PortgeoError, match=reason):
            read_outline(svg(tmp_path, body), "mm")
    with pytest.raises(InputError, match="not a length"):
        read_outline(svg(tmp_path, CIRCLE, 'width="50%" height="50%" viewBox="0 0 100 100"'), "mm")


def test_files_that_are_no_drawings_are_refused(tmp_path):
    (tmp_path / "folder.dxf").mkdir()
    for name in ("a.dxf", "a.svg", "a.csv", "a.png", "folder.dxf", "none.dxf"):
        for data in (b"", b"\x89PNG\r\n\x1a\n\0\0\0", b"hello"):
            if not name.startswith(("folder", "none")):
                (tmp_path / name).write_bytes(data)
            with pytest.raises(InputError) as caught:
                read_outline(tmp_path / name, "mm")
            assert caught.value.file == str(tmp_path / name)


def test_entities_that_reach_out_or_multiply_are_refused(tmp_path):
    for doctype in (
        '<!DOCTYPE svg [<!ENTITY a SYSTEM "file:///etc/hostname">]>',
        '<!DOCTYPE svg [<!ENTITY a "xxxx"><!ENTITY b "&a;&a;&a;">]>',
    ):
        (tmp_path / "a.svg").write_text(f'{doctype}<svg xmlns="http://www.w3.org/2000/svg">{CIRCLE}</svg>')
        with pytest.raises(InputError, match="refers"):
            read_outline(tmp_path / "a.svg", "mm")
    uses = "".join(f'<g id="g{k + 1}"><use href="#g{k}"/><use href="#g{k}"/></g>' for k in range(40))
    with pytest.raises(InputError, match="references"):
        read_outline(svg(tmp_path, f'<g id="g0">{CIRCLE}</g>{uses}'), "mm")


BARE_ELLIPSE = "0 SECTION 2 ENTITIES 0 ELLIPSE 8 0 10 0. 20 0. 11 20. 21 0. 40 .5 41 0. 42 6.3 0 ENDSEC 0 EOF"
CURVED = f'<path d="M0 0 L1 1 Q3 3 1 2 C 3 4 1 5 0 3z"/>{CIRCLE}'
SEEDS = {
    ".dxf": BARE_ELLIPSE.replace(" ", "\n") + "\n",
    ".svg": f'<svg width="9in" height="9in" viewBox="0 0 9 9">{CURVED}</svg>',
    ".csv": "x,y\n1,2\n20,20\n0,20\n1,2.1\n",
}


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(suffix=st.sampled_from(sorted(SEEDS)), data=st.data())
def test_no_bytes_give_a_traceback(tmp_path, suffix, data):
    path = tmp_path / f"fuzz{suffix}"
    content = bytearray(data.draw(st.binary(max_size=200) | st.just(SEEDS[suffix].encode())))
    for _ in range(data.draw(st.integers(0, 4)) if content else 0):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    path.write_bytes(content)
    try:
        outline = read_outline(path, "mm")
    except PortgeoError as refusal:
        assert refusal.file == str(path)
    else:
        assert moments(outline).area > 0 and np.isfinite(outline).all()
