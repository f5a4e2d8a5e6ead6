"""Air speed against sources outside the project; the source stands beside each check."""

import numpy as np
import pytest
import scipy.constants
import scipy.integrate
import scipy.optimize
import scipy.sparse
import scipy.sparse.linalg
from CoolProp.CoolProp import PropsSI
from fluids.atmosphere import ATMOSPHERE_1976

from portgeo.core.port import port_from_readings
from portgeo.core.section import Reading
from portgeo.core.units import FOOT, M3_S_PER, PA_PER
from portgeo.flow.airspeed import air_speed
from portgeo.flow.bench import Run, at_depression
from portgeo.flow.demand import Engine, demand, power_range
from portgeo.flow.gas import (
    GAMMA,
    STANDARD,
    Air,
    area_ratio,
    choke_flow,
    density_ratio,
    depression_speed,
    isentropic_speed,
    mach_through,
    parting_mach,
)
from portgeo.flow.path import path_of
from portgeo.flow.separation import slowing
from portgeo.flow.valve import Valve, passage
from portgeo.flow.wall import size_for, sizing_of, wall_solution

FLOW, DEPRESSION = 200.0 * M3_S_PER["cfm"], 28.0 * PA_PER["in_h2o"]
SLOW_FLOW = 5.0 * M3_S_PER["cfm"]  # for sources of incompressible flow: air thins out by less than a ten thousandth


def solution_of(port, unknowns):
    path = path_of(port)
    return wall_solution(path, size_for(sizing_of(path), unknowns))


def bend_of(height, width, radius, degrees, legs):
    """A duct of one rectangular section with sharp corners: leg, turn, leg; a row in the middle of the turn too."""
    turn = np.radians(degrees)
    stations = np.cumsum([0.0, legs[0], radius * turn / 2.0, radius * turn / 2.0, legs[1]])
    turns = (0.0, 0.0, turn / 2.0, turn, turn)
    return port_from_readings(
        tuple(
            Reading(k + 2, float(s), height=height, width=width, turn=t)
            for k, (s, t) in enumerate(zip(stations, turns, strict=True))
        )
    )


def at_middle(solution, line):
    return float(np.interp(solution.stations[-1] / 2.0, solution.stations, line))


def bend_wall_speed(height, radius, turn, legs, across):
    """Speed over mean along the inner wall of a two-dimensional bend: stations and speeds.

    The stream function in the coordinates along and across the duct, whose metric is 1 - n / radius
    in the bend and 1 in the legs, by finite volumes: (psi_s / J)_s + (J psi_n)_n = 0. The flow is
    uniform at both ends, far out on the legs. A formulation dual to the package's, on another grid.
    """
    h = height / across
    length = legs[0] + radius * turn + legs[1]
    along = round(length / h)
    s = (np.arange(along) + 0.5) * length / along
    ds = length / along
    bent = (s > legs[0]) & (s < legs[0] + radius * turn)
    n = -height / 2.0 + h * np.arange(across + 1)
    metric = np.where(bent[:, None], 1.0 - n / radius, 1.0)
    half = np.where(bent[:, None], 1.0 - (n[:-1] + h / 2.0) / radius, 1.0)
    number = np.arange(along * (across - 1)).reshape(along, across - 1)
    psi_end = (n[1:-1] + height / 2.0) / height
    rows, columns, values, load = [], [], [], np.zeros(number.size)

    def couple(a, b, weight):
        rows.extend([a, a, b, b])
        columns.extend([a, b, b, a])
        values.extend([weight, -weight, weight, -weight])

    inner = metric[:, 1:-1]
    couple(number[:-1].ravel(), number[1:].ravel(), (h / ds * 2.0 / (inner[:-1] + inner[1:])).ravel())
    couple(number[:, :-1].ravel(), number[:, 1:].ravel(), (ds / h * half[:, 1:-1]).ravel())
    diagonal = np.zeros_like(inner)
    diagonal[:, 0] += ds / h * half[:, 0]
    diagonal[:, -1] += ds / h * half[:, -1]
    load[number[:, -1]] += ds / h * half[:, -1]  # psi is 0 on the outer wall and 1 on the inner
    for end in (0, -1):
        diagonal[end] += 2.0 * h / ds
        load[number[end]] += 2.0 * h / ds * psi_end
    rows.append(number.ravel()), columns.append(number.ravel()), values.append(diagonal.ravel())
    matrix = scipy.sparse.csr_matrix(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(number.size,) * 2
    )
    psi = scipy.sparse.linalg.spsolve(matrix.tocsc(), load).reshape(along, across - 1)
    wall = 1.0
    slope = (-11.0 / 6.0 * wall + 3.0 * psi[:, -1] - 1.5 * psi[:, -2] + psi[:, -3] / 3.0) / -h
    return s, slope * height


@pytest.fixture(scope="module")
def square_bend():
    """180 degrees of a square duct, centre radius one height, with straight legs."""
    return bend_of(40.0, 40.0, 40.0, 180.0, (60.0, 60.0))


@pytest.fixture(scope="module")
def square_bend_solution(square_bend):
    return solution_of(square_bend, 30_000)


def test_free_vortex_in_the_middle_of_a_bend(square_bend_solution, check):
    """Two-dimensional potential flow round a bend: speed over mean is h / (r ln(ro / ri)) (any textbook)."""
    for name, side, r, tolerance in (("short", np.max, 0.5, 0.01), ("long", np.min, 1.5, 0.015)):
        read = at_middle(square_bend_solution, side(square_bend_solution.over_mean, axis=1))
        what = f"square bend: speed over mean on the {name} side"
        check(what, "free vortex, h / (r ln(ro / ri))", read, 1.0 / (r * np.log(3.0)), rel=tolerance)


@pytest.mark.parametrize(
    ("height", "radius", "degrees", "legs"), [(40.0, 40.0, 180.0, (60.0, 60.0)), (44.0, 40.0, 75.0, (58.0, 40.0))]
)
def test_grid_error_estimate_holds_the_truth(height, radius, degrees, legs, check):
    """The peak on the short side against the stream function of the same bend in two dimensions."""
    port = bend_of(height, 30.0, radius, degrees, legs)
    found = air_speed(path_of(port), SLOW_FLOW, DEPRESSION)
    far = tuple(leg + 2.0 * height for leg in legs)
    peaks = []
    for across in (80, 160):
        s, speed = bend_wall_speed(height, radius, np.radians(degrees), far, across)
        inside = (s > far[0] - height) & (s < s[-1] - far[1] + height)
        peaks.append(speed[inside].max())
    truth = peaks[1] + (peaks[1] - peaks[0]) / 3.0
    mean = SLOW_FLOW / (height * 30.0 * 1e-6)
    assert abs(peaks[1] - peaks[0]) < 0.005 * truth
    what = f"bend of {degrees:.0f} degrees: peak on the short side over mean, within its own stated error"
    own = found.side_peak.speed / mean
    check(what, "stream function, finite volumes", own, truth, abs=round(found.side_peak.error / mean, 3))
    assert found.side_peak.error < 0.06 * found.side_peak.speed


def compressible_vortex(mean, inner, outer):
    """Return the speed at the inner radius of v r = const in air from rest, the mean of flow over area given.

    Isentropic, gamma 1.4: density from the energy equation, the mass flow by numerical integration.
    """

    def flow(inner_speed):
        def flux(r):
            speed = inner_speed * inner / r
            return (1.0 - 0.2 * (speed / 340.294) ** 2) ** 2.5 * speed

        return scipy.integrate.quad(flux, inner, outer, epsrel=1e-10)[0]

    return scipy.optimize.brentq(lambda v: flow(v) - mean * (outer - inner), mean, 310.0)


@pytest.mark.parametrize("mean", [50.0, 99.0, 125.0])
def test_compressible_free_vortex(square_bend, mean, check):
    """v r = const with the energy equation: 6.7 % faster than air of one density at 99 m/s mean."""
    found = air_speed(path_of(square_bend), mean * 40.0 * 40.0 * 1e-6, DEPRESSION, unknowns=12_000)
    truth = compressible_vortex(mean, 20.0, 60.0)
    if mean == 99.0:
        assert truth / (mean / (0.5 * np.log(3.0))) == pytest.approx(1.067, abs=5e-4)
    what = f"square bend, {mean:.0f} m/s mean: peak on the short side, m/s"
    check(what, "compressible free vortex, isentropic", found.side_peak.speed, truth, rel=0.01)
    codes = {n.code for n in found.warnings}
    assert ("mach_mean" in codes, "mach_local" in codes) == (False, False)


def test_flow_past_the_speed_of_sound_is_said_to_be_no_fair_answer(square_bend):
    """The vortex of 160 m/s mean would be sonic at the short side (it has no solution below Mach 1)."""
    with pytest.raises(ValueError, match="sign"):
        compressible_vortex(160.0, 20.0, 60.0)
    found = air_speed(path_of(square_bend), 160.0 * 40.0 * 40.0 * 1e-6, 120.0 * PA_PER["in_h2o"], unknowns=4000)
    assert {"mach_mean", "mach_local"} <= {n.code for n in found.warnings}


@pytest.mark.parametrize("cut", ["exit", "entry", "both"])
def test_a_bend_cut_in_mid_turn(cut):
    """Free vortex (any textbook): with the turn kept up its speed holds to the cut; straight on, it falls off to it."""
    radius, height, turn = 40.0, 40.0, np.radians(135.0)
    legs = {"exit": (60.0, 0.0), "entry": (0.0, 60.0), "both": (0.0, 0.0)}[cut]
    stations = np.cumsum([0.0, legs[0], radius * turn / 2.0, radius * turn / 2.0, legs[1]])
    rows = dict(zip(stations.tolist(), (0.0, 0.0, turn / 2.0, turn, turn), strict=True))
    port = port_from_readings(
        tuple(Reading(k + 2, s, height=height, width=30.0, turn=t) for k, (s, t) in enumerate(rows.items()))
    )
    found = air_speed(path_of(port), SLOW_FLOW, DEPRESSION, unknowns=12_000)
    vortex = 1.0 / (0.5 * np.log(3.0))
    doubt = found.side_peak.error / (SLOW_FLOW / (height * 30.0 * 1e-6))
    on = found.turning_on
    assert (on.entry, on.exit) == (cut != "exit", cut != "entry")
    place = found.wall.stations - legs[0]
    for is_cut, from_cut in ((on.entry, place), (on.exit, radius * turn - place)):
        if is_cut:
            near = (from_cut >= 0.0) & (from_cut < height)
            assert on.line[near] == pytest.approx(vortex, rel=0.01)
            assert np.all(found.short_line[near] < vortex + doubt)
            # A straight leg after the cut lets the wall's speed down gradually: no spike at the cut itself.
            assert np.all(np.diff(found.short_line[near][np.argsort(from_cut[near])]) > -1e-3)
    assert found.side_peak.over_mean - doubt < vortex < on.peak.over_mean + doubt
    assert found.side_peak.over_mean == pytest.approx(vortex, rel=0.03)


def test_walls_that_lean_at_a_cut_leave_no_spike():
    """A cone of a source flow cut across: its walls lean at both ends, and nothing there stands out."""
    half = np.radians(8.0)
    rows = tuple(
        Reading(k + 2, z - 60.0, shape="round", height=2 * z * np.tan(half), width=2 * z * np.tan(half))
        for k, z in enumerate((60.0, 200.0))
    )
    found = solution_of(port_from_readings(rows), 30_000)
    assert found.over_mean == pytest.approx((1.0 + np.cos(half)) / 2.0, abs=0.02)


def test_source_flow_in_a_cone(check):
    """A radial source: speed goes as 1 / r^2 from the apex; over the plane mean it is (1 + cos a) / 2 at the wall."""
    half = np.radians(8.0)
    near, far = 60.0, 200.0
    rows = tuple(
        Reading(k + 2, z - near, shape="round", height=2 * z * np.tan(half), width=2 * z * np.tan(half))
        for k, z in enumerate((near, far))
    )
    found = solution_of(port_from_readings(rows), 30_000)
    inside = (found.stations > 30.0) & (found.stations < 110.0)
    z = found.stations[inside] + near
    speed = found.over_mean[inside] / found.area[inside, None]
    source = 1.0 / (2.0 * np.pi * (1.0 - np.cos(half)) * (z / np.cos(half)) ** 2)
    ratio = speed / source[:, None]
    check("cone: wall speed over that of a source at its apex", "radial source, 1 / r^2", ratio, 1.0, rel=0.01)
    at_wall = (1.0 + np.cos(half)) / 2.0
    check("cone: wall speed over the plane's mean", "radial source", found.over_mean[inside], at_wall, rel=0.01)


@pytest.mark.parametrize("mach", [0.5, 0.6, 1.0])
def test_isentropic_tables(mach, check):
    """NACA Report 1135, table II, to its last digit: M, rho/rho0, A/A*."""
    row = {0.5: (0.8852, 1.3398), 0.6: (0.8405, 1.1882), 1.0: (0.6339, 1.0000)}[mach]
    source, digit = "NACA Report 1135, table II", 5.0001e-5
    check(f"isentropic flow: density / at rest at Mach {mach:.1f}", source, density_ratio(mach), row[0], abs=digit)
    check(f"isentropic flow: A / A* at Mach {mach:.1f}", source, area_ratio(mach), row[1], abs=digit)


def test_mach_number_through_an_area_undoes_the_area_ratio():
    area = 1.2e-3
    for mach in (0.05, 0.3, 0.6, 0.9):
        flow = choke_flow(area) / float(area_ratio(mach))
        assert mach_through(flow, np.array([area]))[0] == pytest.approx(mach, rel=1e-9)
        # Mass is conserved: density times speed times area is the flow at rest times its density.
        density = STANDARD.density * (1.0 + 0.2 * mach**2) ** -2.5
        speed = isentropic_speed(np.array([mach]))[0]
        assert density * speed * area == pytest.approx(STANDARD.density * flow, rel=1e-9)
    assert np.isnan(mach_through(1.001 * choke_flow(area), np.array([area]))[0])


def test_where_incompressible_and_isentropic_part():
    mach = parting_mach()
    area = 1.0e-3
    flow = choke_flow(area) / float(area_ratio(mach))
    assert isentropic_speed(np.array([mach]))[0] / (flow / area) == pytest.approx(1.05, rel=1e-9)


def test_choke_flow_of_air(check):
    """Mass flux at the throat, sqrt(gamma / (R T)) p (2 / (gamma + 1))^3: 241.5 kg/(s m2) in standard air."""
    flux = 101325.0 * np.sqrt(GAMMA / (287.05287 * 288.15)) * (2.0 / 2.4) ** 3
    own = choke_flow(1.0) * STANDARD.density
    check("choke flow of standard air, kg/(s m2)", "isentropic flow at Mach 1, closed form", own, flux, rel=1e-9)


def test_standard_atmosphere(check):
    """ISO 2533 and US 1976 at sea level, to the table's last digit; fluids; CoolProp at that state and others."""
    check("standard air: density, kg/m3", "ISO 2533", STANDARD.density, 1.225, abs=5e-4)
    check("standard air: speed of sound, m/s", "ISO 2533", STANDARD.sound, 340.294, abs=5e-4)
    table = ATMOSPHERE_1976(0.0)
    check("standard air: density, kg/m3", "fluids, US 1976", STANDARD.density, table.rho, rel=1e-5)
    check("standard air: speed of sound, m/s", "fluids, US 1976", STANDARD.sound, table.v_sonic, rel=1e-5)
    own, theirs = STANDARD.kinematic_viscosity, table.mu / table.rho
    check("standard air: kinematic viscosity, m2/s", "fluids, US 1976", own, theirs, rel=1e-4)
    # A real gas against an ideal one: they part by less than 0.06 % at a bench's states.
    for pressure, temperature in ((101325.0, 288.15), (95000.0, 273.15), (103000.0, 308.15)):
        air = Air(pressure, temperature)
        state = f"air at {pressure / 1000.0:g} kPa, {temperature:g} K: "
        density = PropsSI("D", "P", pressure, "T", temperature, "Air")
        check(state + "density, kg/m3", "CoolProp", air.density, density, rel=2e-3)
        sound = PropsSI("A", "P", pressure, "T", temperature, "Air")
        check(state + "speed of sound, m/s", "CoolProp", air.sound, sound, rel=2e-3)


def test_units_of_flow_and_pressure(check):
    """NIST SP 811 and scipy's inch and foot: to the last digit given."""
    sp811 = "NIST SP 811 (last digits from memory)"
    check("1 ft3/min, m3/s", sp811, M3_S_PER["cfm"], 4.719474e-4, abs=5e-11)
    check("1 inH2O, Pa", sp811, PA_PER["in_h2o"], 249.0889, abs=5e-5)
    check("1 ft3/min, m3/s", "scipy.constants.foot", M3_S_PER["cfm"], scipy.constants.foot**3 / 60.0, rel=1e-14)
    check("1 ft, m", "scipy.constants.foot", FOOT, scipy.constants.foot, rel=1e-14)


def test_depressions_of_25_and_28_inches(check):
    """Flow goes as the square root of depression (incompressible): 1.0583 from 25 to 28 inH2O."""
    run = Run("", "", np.array([5.0]), np.array([0.1]), np.array([25.0 * PA_PER["in_h2o"]]), None, (2,))
    factor = at_depression(run, 28.0 * PA_PER["in_h2o"])[0] / 0.1
    check("flow at 28 over flow at 25 inH2O", "square root of depression", factor, 1.0583, abs=5e-5)
    # The trade's 146 cfm a square inch at 28 inH2O without loss (common practice, no source).
    own = depression_speed(DEPRESSION) * 0.0254**2 / M3_S_PER["cfm"]
    check("cfm through 1 sq in at 28 inH2O without loss", "common practice, no source", own, 146.0, abs=0.5)


@pytest.mark.parametrize("reynolds", [3e5, 1e6, 5e6])
@pytest.mark.parametrize("highest", [0.2, 0.4, 4.0 / 7.0])
def test_flow_of_zero_wall_friction_stays_at_the_limit(reynolds, highest, check):
    """Cp = 0.645 (0.435 Re0^(1/5) ((x/x0)^(1/5) - 1))^(1/3) is about to part all along (Stratford; from memory)."""
    x0, lead = 0.05, 100
    cp = np.linspace(0.0, highest, 2000)
    x = x0 * (1.0 + (cp / 0.645) ** 3 / (0.435 * reynolds**0.2)) ** 5
    along = np.concatenate([np.linspace(0.0, x0, lead, endpoint=False), x])
    speed = np.concatenate([np.ones(lead), np.sqrt(1.0 - cp)])
    found = slowing(along, speed, lead, x0 / reynolds)
    what = f"flow about to part, Re {reynolds:.0e}, Cp to {highest:.2f}: margin"
    check(what, "Stratford, J. Fluid Mech. 5 (1959), from memory", found.margin, 0.0, abs=0.02)
    # The same rise over a longer way is safe, over a shorter one not.
    for stretch, parts in ((1.3, False), (0.7, True)):
        stretched = np.concatenate([along[:lead], x0 + stretch * (x - x0)])
        assert slowing(stretched, speed, lead, x0 / reynolds).parts == parts


def test_valve_passage_in_its_stages(check):
    """J. B. Heywood, Internal Combustion Engine Fundamentals, 6.3 (from memory): the stages join, two limits."""
    valve = Valve(head=44.0, throat=38.0, stem=7.0, seat_angle=np.radians(45.0), seat_width=1.5)
    source = "Heywood, section 6.3, from memory"
    tiny, inner = 1e-6, np.pi * (44.0 - 2.0 * 1.5)
    hardly = passage(valve, [tiny])[0][0] / tiny
    check("valve: passage a millimeter of lift, hardly open, mm", source, hardly, inner * np.cos(np.pi / 4.0), rel=1e-6)
    open_area = np.pi / 4.0 * (38.0**2 - 7.0**2)
    check("valve: passage wide open, mm2", source, passage(valve, [44.0])[0][0], open_area, rel=1e-12)
    first = 1.5 / (np.sin(np.pi / 4.0) * np.cos(np.pi / 4.0))
    lift = np.linspace(0.5, 20.0, 400_001)
    area, stage = passage(valve, lift)
    step = np.abs(np.diff(area))[np.diff(stage) != 0]
    check("valve: step of the passage from stage to stage, mm2", source, step, 0.0, abs=0.01)
    ends = lift[np.flatnonzero(np.diff(stage))][0]
    check("valve: lift at which the first stage ends, mm", source, ends, first, abs=1e-4)


def test_mean_inlet_mach_index(check):
    """C. F. Taylor, The Internal-Combustion Engine in Theory and Practice, 1 (from memory): (b / D)^2 s / (C a)."""
    engine = Engine(bore=0.0889, stroke=0.0813, speed=125.0, cylinders=4, valve=0.0445)
    found = demand(engine, STANDARD.sound, 0.35)
    source = "Taylor, vol. 1, from memory"
    piston = 2.0 * 0.0813 * 125.0
    check("mean piston speed, m/s", "twice the stroke a revolution", found.mean_piston_speed, piston, rel=1e-12)
    index = (0.0889 / 0.0445) ** 2 * piston / (0.35 * STANDARD.sound)
    check("mean inlet Mach index", source, found.mach_index, index, rel=1e-12)
    limit = 125.0 * 0.6 / index
    check("speed at which the index is 0.6, revolutions a second", source, found.speed_at_limit, limit, rel=1e-9)
    _, high = power_range(200.0, 4)
    check(
        "most power that 200 cfm could feed, hp",
        "common practice, no source; from memory",
        high,
        0.26 * 800.0,
        rel=1e-9,
    )
