"""Files to fill in: a blank target, and a whole job with blank sheets.

A unit comes in; the text of each file, every key explained, goes out. Each shows a small invented example, and
all of it is in comments: nothing is read that the person did not type.
"""

from __future__ import annotations

import json
import re

from portgeo.core.units import MM_PER_INCH, LengthUnit

COMMENT_AT = 30  # column in which the comments stand
TOKEN = re.compile(r"@([\d.]+)@(2?)")  # a length of the texts below, or with a 2 an area, in inches
TYPE_BELOW = "# Type your rows under the header. Lines that begin with # are not read."
LIKE_THIS = "# An invented example of such rows:"
TITLE_LETTERS = 80  # of a folder's name that heads the pages

# Invented. Inches and degrees: station, height, width, shape, corner at roof and floor, turn, rise, mark, note.
READINGS = (
    (0.0, 1.800, 1.100, "rect", 0.220, 0.220, 0, 0.000, "joint", "flange"),
    (0.8, 1.710, 1.100, "rect", 0.250, 0.245, 0, 0.010, "", ""),
    (1.6, 1.640, 1.110, "rect", 0.310, 0.290, 0, 0.015, "", "turn begins"),
    (2.4, 1.500, 1.210, "rect", 0.450, 0.430, 36, 0.010, "", "short side"),
    (3.0, 1.380, 1.330, "rect", 0.640, 0.640, 64, 0.000, "guide", "bowl"),
    (3.4, 1.360, None, "round", None, None, 70, 0.000, "", "bore"),
    (3.7, 1.360, None, "round", None, None, 70, 0.000, "throat", "just under the seat"),
)
# The same port as it lies on squared paper: x and z of the floor's and of the roof's end of each section.
POINTS = (
    (0.0, 0.0, 0.0, 1.80),
    (0.80, 0.06, 0.80, 1.76),
    (1.60, 0.10, 1.60, 1.74),
    (1.90, 0.06, 2.80, 1.26),
    (2.10, -0.10, 3.34, 0.50),
    (2.24, -0.40, 3.52, 0.08),
    (2.34, -0.68, 3.62, -0.22),
)
ENDS = ("floor_x", "floor_z", "roof_x", "roof_z")
TOOL, READING_ERROR = "micrometer", 0.001
BENCH = ((0.1, 42.0), (0.2, 82.0), (0.3, 116.0), (0.4, 140.0), (0.5, 154.0), (0.6, 160.0))  # lift, cfm: invented
WALLS = ((0.8, 6, 0.220), (1.6, 6, 0.190), (2.4, 6, 0.170), (3.0, 6, 0.180), (1.6, 3, 0.210), (1.6, 9, 0.200))


def length(inches: float, unit: LengthUnit) -> str:
    """Return a length of the example: inches to three decimals, millimeters to two."""
    return f"{inches:.3f}" if unit == "in" else f"{inches * MM_PER_INCH:.2f}"


def blank_target(unit: LengthUnit = "in") -> str:
    """Return a target with every key explained, to be filled in: as it stands it wants nothing."""
    return _filled(TARGET, unit)


def blank_job(unit: LengthUnit, title: str, kind: str = "csv") -> str:
    """Return a job file with every key explained. title : heads its pages. kind : of its section sheet, csv or xlsx."""
    words = "".join(c if c.isprintable() else " " for c in title).strip()[:TITLE_LETTERS] or "port"
    return _filled(JOB.replace("@kind@", kind), unit).replace("@title@", json.dumps(words, ensure_ascii=False))


def section_rows(unit: LengthUnit, *, points: bool = False) -> tuple[list[str], list[list[str]]]:
    """Return the header and the rows of the example's section sheet.

    points : both ends of each section as they lie on squared paper, in place of station, height, turn and rise.
    """
    columns = ("station", "height", "width", "shape", "corner_roof", "corner_floor", "turn_deg", "rise", "mark")
    shown = (*ENDS, "width", "shape", "corner_roof", "corner_floor", "mark") if points else columns
    plain = ("shape", "turn_deg", "mark")
    header = [name if name in plain else f"{name}_{unit}" for name in shown]
    rows = []
    for reading, ends in zip(READINGS, POINTS, strict=True):
        cells = dict(zip((*columns, "note", *ENDS), (*reading, *ends), strict=True))
        if points and reading[3] == "round":
            cells["width"] = reading[1]
        texts = [_cell(cells[name], unit, name in plain) for name in shown]
        tool = ["caliper"] if points else [TOOL, length(READING_ERROR, unit)]
        rows.append([*texts, *tool, str(reading[-1])])
    return [*header, "tool", *([] if points else [f"reading_error_{unit}"]), "note"], rows


def _cell(value: float | str | None, unit: LengthUnit, plain: bool) -> str:
    if value is None:
        return ""
    return str(value) if plain or isinstance(value, str) else length(value, unit)


def section_sheet(unit: LengthUnit, *, points: bool = False) -> str:
    """Return a blank section sheet as CSV. points : to be read off squared paper."""
    header, rows = section_rows(unit, points=points)
    return _table(header, rows)


def bench_sheet(unit: LengthUnit) -> str:
    """Return a blank bench sheet as CSV."""
    rows = [
        [length(lift, unit), f"{flow:.1f}", "28", *(("as cast", "clay entry; no manifold") if k == 0 else ("", ""))]
        for k, (lift, flow) in enumerate(BENCH)
    ]
    return _table([f"lift_{unit}", "flow_cfm", "depression_in_h2o", "stage", "setup"], rows)


def wall_sheet(unit: LengthUnit) -> str:
    """Return a blank sheet of wall readings as CSV."""
    rows = [[length(station, unit), str(clock), length(wall, unit), ""] for station, clock, wall in WALLS]
    return _table([f"station_{unit}", "clock", f"thickness_{unit}", "note"], rows)


def _table(header: list[str], rows: list[list[str]]) -> str:
    """Return a blank sheet: the example in comments, above the header that is read."""
    example = ["# " + ",".join(row) for row in (header, *rows)]
    return "\n".join([TYPE_BELOW, LIKE_THIS, *example, ",".join(header), ""])


def _filled(text: str, unit: LengthUnit) -> str:
    """Return a text with its lengths in a unit and its comments in one column."""

    def number(found: re.Match[str]) -> str:
        places = len(found[1].partition(".")[2])
        value = float(found[1]) * (1.0 if unit == "in" else MM_PER_INCH ** (2 if found[2] else 1))
        return f"{value:.{places}f}" if unit == "in" else f"{value:.{0 if found[2] else 1 if places < 3 else 2}f}"

    lines = []
    for line in TOKEN.sub(number, text).replace("@u@", unit).splitlines():
        key, mark, comment = line.partition("  # ")
        lines.append(f"{key.rstrip() + '  ':<{COMMENT_AT}}# {comment}".rstrip() if mark else line)
    return "\n".join(lines) + "\n"


TARGET = """\
# What is wanted of a port. Lines that begin with # are not read: take the # away to use one.
# Then:  portgeo reshape PORT.csv THIS.toml --out plan

units = "@u@"  # of every length here, "in" or "mm"; areas are in its square.
                              # One length may be in the other unit: station_mm = 25.4, area_mm2 = 1500

# greatest_depth = @0.100@  # no cut anywhere deeper than this, square to the wall; default
# blend = @0.315@  # how gently a cut fades out (default): to half within one and a half of it, to
  # nothing within about four; more is smoother and takes more metal
# symmetric = true  # left and right walls are cut alike
# walls = ["floor", "roof"]  # those that may be cut, all without it; each reaches halfway to the next
# cut_from = @0.0@  # stations between which metal may be cut; without them, the whole port
# cut_to = @4.0@

# epoxy = true  # metal may be "put back" with epoxy where a smaller area is wanted
# epoxy_depth = @0.060@  # and no thicker than this

# throat_area = @2.20@2  # what percentages below are of; without it, the area now at the row marked throat
# throat_diameter = @1.674@  # or this

# One block for each station where an area is wanted. An area is met from below: the cut is the
# smallest with at least this area.
# [[area]]
# station = @1.000@  # along the centerline, from the entry
# area = @2.350@2  # or
# percent = 105.0  # of the throat's area

# A straight taper between two stations.
# [[taper]]
# from = @1.500@
# to = @3.000@
# area_from = @2.300@2  # or percent_from and percent_to
# area_to = @2.500@2

# The short side: the floor through the turn gets at least this radius, tangent to floor and bowl.
# [short_side]
# radius = @0.700@
# from = @2.000@  # stations between which its arc must begin and end; without them, anywhere
# to = @3.800@

# What stops a cut. Each limit is hard; the plan says what each one costs.
# [limits]
# least_wall = @0.100@  # metal to leave, to the readings or the meshes below; @0.098@ without it
# wall_readings = "walls.csv"  # sonic tester, the port as it is before this cut, not an earlier stage:
  # columns station_in (or _mm), clock, thickness_in (or _mm)
# outer_mesh = ["water.stl"]  # what lies outside (water jacket, pushrod passage), placed as the port is
# outer_mesh_units = "mm"  # of meshes that do not say
# beside = ["right-leg.stl"]  # other legs or runners that are cut too, placed as the port is
# least_between = @0.100@  # metal to leave between them when both are cut; least_wall without it
# beside_percent = 50  # of the metal over that, what this port may take; the other has the rest
# gasket = "gasket.dxf"  # the opening in the gasket: the port stays inside it (DXF, SVG or CSV)
# gasket_units = "@u@"  # of a drawing that does not say
# gasket_at = "entry"  # or "exit"
# gasket_shift = @0.0@  # its middle, to the left of the port opening's, looking in
# gasket_rise = @0.0@  # and above it

# Parts that no cut may touch, each by stations and clock (12 is the roof, 3 the right wall, looking in).
# [[keep]]
# name = "valve seat"
# from = @3.900@
# to = @4.100@
# clock_from = 0  # without these two, all round
# clock_to = 12

# Another port (a sheet, or a mesh placed alike) whose shape is to be cut into this one where it is larger.
# [copy]
# port = "good-cylinder.csv"
"""

JOB = """\
# One port through its life. Then:  portgeo report job.toml --out report
# Lines that begin with # are not read, and every number in them is invented. Take the # away, of the name in
# [ ] above them too, and write your own in its place. What is not known stays out.
# Files are named from this file's folder, and must lie in it; write / between a folder and a file.

# The title heads every page.
title = @title@
units = "@u@"  # of every length here, and of all that is printed: "in" or "mm".
  # One length may be in the other unit: bore_mm = 92.0 or bore_in = 3.622
# customer = "cut to the line"  # a word to the customer, printed on their pages

# What is known of the engine; leave out what is not. Bore, stroke, rpm and valve together give what it
# asks of a port; valve and throat give the bench's coefficients; cylinders gives an estimate of power.
[engine]
# name = "hill-climb four"
# port = "exhaust"  # "intake" without it. Stations run with the flow: an exhaust's station 0 is at the valve
  # (for a scan of one, say where with entry and exit under [stage.port_scan]).
  # What an engine asks of a port and the estimate of power are rules for intakes: an exhaust gets neither
# cylinders = 4
# bore = @3.260@
# stroke = @2.980@
# rod = @5.020@  # connecting rod, center to center
# rpm = 7000  # at which it should pull
# valve = @1.560@  # intake valve's head
# throat = @1.360@  # just under the seat; a row marked throat counts before it
# stem_mm = 7.0
# seat_width = @0.060@  # measured radially
# seat_angle_deg = 45
# valves = 1  # intake valves a cylinder
# max_lift = @0.450@  # highest lift of the valve

[metal]
# alloy = "aluminum"  # or "iron": the mass of what was cut is an estimate from a usual density; aluminum without it
# density_g_cc = 2.68  # or its density, in place of the alloy

# A block for each stage of the port, in order: as cast, first cut, ...
[[stage]]
name = "as cast"  # as the bench sheet calls it too
# date = 2026-01-31
# note = "molded before any cut"
port = "as-cast.@kind@"  # the file that is read: a section sheet (csv, xlsx, xls, ods),
  # or a mold scan (stl, ply, obj, 3mf, glb, off)
# runner = "runner.csv"  # the manifold's runner before it: a sheet or a scan, plenum to flange
# leg = "left"  # of a port that splits: which leg is cut, flowed and solved; the first without it
# bench_run = "as cast"  # its run in the bench sheet, where that is called otherwise
# hours = 2.5  # how long the cut to it took: sets the pace by which the next cut is reckoned
# align = "auto"  # how it is lined up with the stage before: "none" as measured (sheets), "auto" by the wall (scans)
# [stage.port_scan]  # only where port is a scan; [stage.runner_scan] says the same of a runner's
# units = "mm"  # of the scan's numbers, where its file does not say
# scale = 1.0  # its lengths are multiplied by this; or
# shrink_percent = 0.4  # the mold shrank by so much
# scale_error_percent = 0.05  # how sure that scale is, one standard deviation: it then counts in every ±
# entry = [0.0, 0.0, 0.0]  # a point on the entry, in the scan's own coordinates, where it is not found
# exit = [0.0, 0.0, 0.0]  # and one on the exit
# up = [0.0, 0.0, 1.0]  # the roof's direction, where the port is straight
# with_stem_mm = 7.0  # take off a valve stem of this diameter that the mold lacks

# The next stage, once it is cut and measured again: copy as-cast.@kind@, and change what the micrometer says.
# Where floor or roof alone was cut the middle moved too: a floor dropped by 0.080 makes height 0.080 more
# and rise 0.040 less (a roof raised, 0.040 more).
# [[stage]]
# name = "first cut"
# date = 2026-02-14
# port = "first-cut.@kind@"

# [bench]
# file = "bench.csv"  # lift, flow and depression, a run for each stage
# depression_in_h2o = 28  # all runs are brought to this one; 28 without it
# lift = @0.400@  # air speed at the flow of this lift; without it at the best flow
# flow_cfm = 200  # for a stage without a run, or in place of the sheet

# The next cut: what is wanted, and the metal to leave.
# [target]
# file = "target.toml"
# stage = "as cast"  # the stage it starts from; to be named once there are several

# The cut that slows the air where it is too fast: for each amount of metal the one that does most. It takes half a
# minute, and needs a flow under [bench]. Its limits are the target's, and its stage the target's.
# [calm]
# metal_cc = 0.60  # the cut to choose; without it that past which more metal buys little
# hold_throat = true  # the throat keeps its area
# limits = "limits.toml"  # a target's file, for how deep and where it may go, in place of the target's
# stage = "as cast"  # whose air is too fast; without it the target's, or the last where there is no target

# The pressure that the port loses, before, after and planned: a viscous solution in OpenFOAM, to be installed apart.
# It takes minutes, so it runs only when it is asked for: portgeo report job.toml --out report --loss
# [loss]
# flow_cfm = 210  # or flow_lps; without it the flow of the air speed, under [bench]
# grid = "usual"  # or "quick", "fine"
# roughness = @0.000@  # of the wall, as the height of even sand grains
# cores = 2  # that solve it together
# stages = ["as cast", "first cut", "planned"]  # without it the first, the last, planned and calm cut

# Sonic-tester readings, and the stage in which they were taken. While there is one stage those that the
# target names are enough. With several this table must say of which they are, and it must be the one that
# the target's cut starts from: by a reading of an earlier, thicker wall the cut would go too deep.
# [walls]
# file = "walls.csv"
# stage = "as cast"

# A pitot tube's readings in the port, to be set beside the air speed that is computed. With several stages this
# table must say in which they were taken.
# [probe]
# file = "probe.csv"  # columns station_in (or _mm), clock, off_wall_in, speed_ft_s or pressure_in_h2o
# stage = "as cast"

# The gasket's opening at the joint of runner and port.
# [gasket]
# file = "gasket.dxf"  # or svg, or csv
# units = "@u@"  # of a drawing that does not say
# leave = @0.010@  # margin to its line left on purpose
# as_drawn = false  # true: the drawing's zero is the joint's centerline; else its middle is put there

# The runners of one manifold, to find the odd one out and what to cut on which. Without any [[stage]] the report is of
# the manifold alone.
# [set]
# files = ["runner-1.csv", "runner-2.csv", "runner-3.csv", "runner-4.csv"]
# flows = [238.0, 236.5, 237.2, 229.4]  # of each on the bench, all at one depression
# gasket = "gasket.dxf"  # its hole, drawn from the line that the sheets are measured from: gives core shift
# gasket_at = "entry"  # the end of the runners that it lies at, or "exit"
# spacing = [@1.750@]  # from each to the next on its right, looking in from the plenum, or one for all: gives dividers
# one_frame = false  # true: the files' own coordinates are the manifold's, as of scans of one casting
# plenum = [-2.4, 0.0, 0.0]  # a point in it, in the scans' coordinates: what opens nearer to it is an entry
# entry_radii = [@0.250@, @0.250@, @0.190@, @0.250@]  # of each entry's edge by gauge, or four for each, 12, 3, 6, 9
# [set.scan]  # only where they are scans: the keys of [stage.port_scan]
# units = "mm"

# A straight burr, to see which wall it reaches.
# [tool]
# head = @0.375@  # diameters
# head_length = @0.375@  # along the shank; a ball without it
# shank = @0.250@
# collet = @0.750@
# length = @6.000@  # of the whole burr
# grip = @1.000@  # of it held in the collet
# stage = "as cast"  # in which its reach is tried; without it, the last

# [quote]  # the customer's pages then say what the work took, and what the rest should take
# per_hour = 80.00  # your own price of an hour; without it only the hours

[templates]
# at = [@0.800@, @1.600@, @2.400@]  # stations of the printed sections; without them, the measured ones
# paper = "Letter"  # or "A4"; without it Letter for inches, A4 for millimeters
"""
