"""How sure a change between two sheets is: what both share cancels."""

from dataclasses import replace

import numpy as np

from portgeo.core.port import port_from_readings
from portgeo.core.section import DEFAULT_READING_ERROR_MM, TOOLS
from portgeo.measuring import survey
from portgeo.measuring.sheet_change import change_u
from tests.conftest import elbow_readings, port_readings


def surveyed(readings):
    return survey(port_from_readings(readings), 5)


def test_a_sheet_and_itself_leave_nothing_open():
    found = surveyed(port_readings())
    change = change_u(found, found)
    assert (change.volume, change.least_area, change.radius, change.least_radius) == (0.0, 0.0, 0.0, 0.0)


def test_a_row_read_again_is_all_that_is_open_and_its_zero_cancels():
    """One height opened by 1 mm: its own two readings make the change of the volume unsure, and the gaps beside it."""
    readings = port_readings()
    cut = [replace(r, height=r.height + 1.0) if k == 2 else r for k, r in enumerate(readings)]
    before, after = surveyed(readings), surveyed(cut)
    change = change_u(before, after)
    reach = (readings[3].station - readings[1].station) / 2.0
    of_height = np.sqrt(2.0) * DEFAULT_READING_ERROR_MM * readings[2].width * reach
    assert change.volume > of_height
    assert change.volume < 0.5 * np.hypot(before.volume_u, after.volume_u)
    assert change.radius < 0.5 * np.hypot(before.short_side.radius_u, after.short_side.radius_u)


def test_other_tools_have_other_zeros():
    """All of a port read again with a caliper: both zeros count, over all of the wall."""
    readings = elbow_readings(44.0, 32.0, 9.0, (58.0, 22.0), 40.0, 75.0)
    before = surveyed(readings)
    again = surveyed([replace(r, height=r.height + 0.001, tool="caliper") for r in readings])
    zeros = np.hypot(TOOLS["micrometer"][1], TOOLS["caliper"][1])
    spread = np.trapezoid([r.height + r.width for r in readings], [r.station for r in readings])
    assert change_u(before, again).volume > 0.8 * zeros * spread


def test_what_is_no_sheet_has_none():
    found = surveyed(port_readings())
    scan = survey(replace(found.port, readings=()), 5)
    assert change_u(found, scan) is None
