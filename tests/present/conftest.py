"""A small report: two states of one port, a plan, bench runs, and names that try to break out of the page."""

import json
from dataclasses import replace

import numpy as np
import pytest

from portgeo.comparing.comparison import compare_ports
from portgeo.core.port import port_from_readings, stations_of
from portgeo.core.units import M3_S_PER, PA_PER, Display
from portgeo.files.disk import json_text
from portgeo.flow.airspeed import air_speed
from portgeo.flow.bench import Run
from portgeo.flow.path import path_of
from portgeo.measuring import survey
from portgeo.present.pictures.model import Model, Paint
from portgeo.reshape.grid import wall_grid
from portgeo.reshape.plan import plan_cut
from portgeo.reshape.target import AreaWanted, Target
from portgeo.results.air import AirThrough
from portgeo.results.benched import Benched
from portgeo.results.changed import Changed
from portgeo.results.measured import Measured
from portgeo.results.planned import planned as planned_cut
from tests.conftest import port_readings

INCHES = Display("in")
TITLE = "</title></script><script>window.broken = 1</script>"
CAST, CUT = "as <b>cast</b>", "cut \"1\"><img src=x onerror='window.broken = 2'> $\\frac{1$"
ROUND, ALONG = 48, 90
DEPRESSION = 28.0 * PA_PER["in_h2o"]


def record_of(found, source):
    """Return the record of a survey whose port came from a source, told in inches."""
    return Measured.of(replace(found, port=replace(found.port, source=source, display=INCHES)), None).to_dict()


def air_of(air, source):
    """Return the record of a flow through a port that came from a source, told in inches."""
    return AirThrough.of(air, replace(air.path.ports[-1], source=source, display=INCHES), None, None).to_dict()


def net(port):
    """Return a port's wall as a net: vertices, faces, stations, clocks."""
    ends = port.centreline.stations[[0, -1]]
    points = wall_grid(port, np.linspace(*ends, ALONG), ROUND).points.reshape(-1, 3)
    here = np.arange(ALONG - 1)[:, None] * ROUND + np.arange(ROUND)
    beside = np.arange(ALONG - 1)[:, None] * ROUND + (np.arange(ROUND) + 1) % ROUND
    one = np.stack([here, here + ROUND, beside + ROUND], axis=-1).reshape(-1, 3)
    other = np.stack([here, beside + ROUND, beside], axis=-1).reshape(-1, 3)
    return points, np.concatenate([one, other]), *stations_of(port, points)


def model(state, port, found, more=()):
    """Return a port's model painted by area, and by what more there is of (points, faces, stations, clocks)."""
    points, faces, stations, clocks = net(port)
    area = Paint("area", "section area", np.interp(stations, found.fine_stations, found.fine_area), "area", False)
    paints = [make(stations, clocks) for make in more]
    return Model(state, "port", points, faces, stations, clocks, (*paints, area))


def depth_paint(stations, clocks):
    """Return a depth that is known everywhere but near the exit: a millimetre at 6 o'clock, minus a half at 12."""
    values = 0.25 - 0.75 * np.cos(clocks / 12.0 * 2.0 * np.pi)
    values[stations > stations.max() - 10.0] = np.nan
    return Paint("depth", "depth of cut", values, "length", True)


def reach_paint(stations, clocks):
    """Return classes by station."""
    names = ("neither end", "the entry", "the exit", "both ends")
    values = np.minimum(np.floor(4.0 * stations / stations.max()), 3.0)
    return Paint("reach", "reached by the burr from", values, "class", False, names)


@pytest.fixture(scope="session")
def report():
    """Results and models of the small report."""
    readings = port_readings()
    cast, cut = port_from_readings(readings), port_from_readings([replace(r, height=r.height + 0.8) for r in readings])
    surveys = {CAST: survey(cast), CUT: survey(cut, readings_tried=False)}
    plan = plan_cut(cut, Target(areas=(AreaWanted(50.0, 50.0, 1480.0, 1480.0),)))
    planned = survey(plan.after, readings_tried=False)
    change = compare_ports(cast, cut, "none")
    lift = np.array([2.0, 4.0, 6.0, 8.0])
    runs = [
        Run(name, "clay entry", lift, M3_S_PER["cfm"] * np.array(flow), np.full(4, DEPRESSION), None, (2, 3, 4, 5))
        for name, flow in ((CAST, (50.0, 90.0, 120.0, 130.0)), (CUT, (52.0, 96.0, 130.0, 143.0)))
    ]
    air = air_speed(path_of(cut), 143.0 * M3_S_PER["cfm"], DEPRESSION, unknowns=2000)
    source = {"file": "<i>port</i>.csv", "sha256": "0" * 64, "triangles": 1, "units": "mm", "scale": 1.0}
    results = {
        "schema": "portgeo.report/2",
        "portgeo": "0",
        "title": TITLE,
        "customer": "A note.",
        "engine": {"name": "<script>window.broken = 3</script>", "cylinders": 4},
        "units": "in",
        "source": [{"file": source["file"], "sha256": source["sha256"], "what": "section sheet"}],
        "states": [
            {
                "name": name,
                "date": None,
                "note": "<script>window.broken = 4</script>",
                "port": record_of(found, source),
                "runner": None,
                "airspeed": air_of(air, source) if name == CUT else None,
                "flow_note": None,
            }
            for name, found in surveys.items()
        ],
        "compare": [
            {
                "before": CAST,
                "after": CUT,
                "part": "port",
                "whole": None,
                "record": Changed.of(change, 2.68).to_dict(),
            }
        ],
        "match": [],
        "balance": None,
        "bench": Benched.of(runs, DEPRESSION, [None] * len(runs), {}, INCHES).to_dict()["bench"],
        "demand": None,
        "plan": {
            "state": CUT,
            "record": planned_cut(
                replace(plan, port=replace(cut, source=source)), {"file": "target.toml"}, 2.68, plan.warnings, INCHES
            ).to_dict(),
            "planned": record_of(planned, source),
            "airspeed": None,
            "beside": None,
        },
        "calm": None,
        "reach": None,
        "skipped": [{"step": "reach", "why": "the job has no [tool]"}],
        "warnings": [{"code": "x", "message": "look <here>", "about": CAST}],
        "files": {"a mesh": "meshes/a b.stl", "not a link": "javascript:window.broken=5"},
    }
    models = (
        model(CAST, cast, surveys[CAST]),
        model(CUT, cut, surveys[CUT], (depth_paint, reach_paint)),
        replace(model("planned", plan.after, planned, (depth_paint,)), computed=True),
    )
    return json.loads(json_text(results)), models
