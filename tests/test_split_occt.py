"""Forked sheets against Open CASCADE: trunk and legs as cylinders and tori, fused by its booleans.

Bars: the volume within 0.05 %, each area of a leg within 0.02 % of its circle's.
"""

import numpy as np
import pytest
from OCP.BRepAlgoAPI import BRepAlgoAPI_Fuse
from OCP.BRepGProp import BRepGProp
from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder
from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
from OCP.GProp import GProp_GProps

from portgeo.core.section import Reading
from portgeo.core.split import split_port
from portgeo.measuring.split import survey_split
from tests.scan.forks import Run

VOLUME_BAR, AREA_BAR = 5e-4, 2e-4


def fork(rng):
    """A round trunk along x and two round legs that run straight on, then turn down: rows, and the same as solids."""
    trunk, long = rng.uniform(28.0, 34.0), rng.uniform(20.0, 60.0)
    rows = [Reading(2, 0.0, "round", 2 * trunk, 2 * trunk), Reading(3, long, "round", 2 * trunk, 2 * trunk)]
    solids = BRepPrimAPI_MakeCylinder(gp_Ax2(gp_Pnt(0, 0, 0), gp_Dir(1, 0, 0)), trunk, long).Shape()
    legs, radii = {}, {}
    for k, (name, side) in enumerate((("left", 1.0), ("right", -1.0))):
        radius = rng.uniform(0.36, 0.42) * trunk
        shift = side * (radius + rng.uniform(0.5, 2.0))
        straight, bend, turn = rng.uniform(5.0, 20.0), rng.uniform(1.6, 3.0) * radius, rng.uniform(0.3, 1.2)
        size = {"shape": "round", "height": 2 * radius, "width": 2 * radius}
        end = long + straight
        legs[name] = [
            Reading(4 + 3 * k, long, shift=shift, **size),
            Reading(5 + 3 * k, end, **size),
            Reading(6 + 3 * k, end + bend * turn, turn=turn, **size),
        ]
        run = Run(np.array([long, shift, 0.0]), np.array([1.0, 0.0, 0.0]), straight, radius, bend, turn)
        solids = BRepAlgoAPI_Fuse(solids, run.brep()).Shape()
        radii[name] = radius
    found = GProp_GProps()
    BRepGProp.VolumeProperties_s(solids, found)
    return rows, legs, abs(found.Mass()), radii


def off(seed):
    """Return by what share the volume is off, and the worst of the legs' areas."""
    rows, legs, volume, radii = fork(np.random.default_rng(seed))
    survey = survey_split(split_port(rows, legs), readings_tried=False)
    areas = [
        float(np.abs(leg.fine_area / (np.pi * radii[name] ** 2) - 1.0).max())
        for name, leg in zip(survey.names, survey.legs, strict=True)
    ]
    return survey.volume / volume - 1.0, max(areas)


def test_volume_and_areas_are_open_cascades():
    volume, area = off(0)
    assert abs(volume) < VOLUME_BAR and area < AREA_BAR


@pytest.mark.nightly
def test_volume_and_areas_of_forty_random_forks_are_open_cascades():
    found = np.array([off(seed) for seed in range(40)])
    print("volume bias", found[:, 0].mean(), "worst", np.abs(found).max(axis=0))
    assert np.abs(found[:, 0]).max() < VOLUME_BAR and found[:, 1].max() < AREA_BAR
