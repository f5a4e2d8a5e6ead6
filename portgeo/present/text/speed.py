"""Air speed for the person at the bench: the answer first, then every station, then the runs.

An AirSpeed, runs and demands come in; lines of text go out.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np

from portgeo.core.notices import Notice
from portgeo.core.units import FOOT, M3_S_PER, MM_PER, PA_PER, Display, clock_text
from portgeo.flow.airspeed import WHAT_IT_IS, AirSpeed, Peak, point_in_source
from portgeo.flow.bench import REPEATS, Run, What, at_depression, at_valve, change, flattens, worth_comparing
from portgeo.flow.demand import INDEX_LIMIT, POWER_RULE_HIGH, POWER_RULE_LOW, Power
from portgeo.flow.gas import mach_through
from portgeo.flow.separation import Slowing
from portgeo.flow.valve import PASSAGES, Valve
from portgeo.present.text.notices import WIDTH, notices_lines
from portgeo.present.text.throat import of_valve_text
from portgeo.results.air import AirThrough, Beside
from portgeo.results.demanded import Demanded
from portgeo.results.split_air import AirThroughSplit

HEADING = 14  # columns before what a heading says
SAME_DEPRESSION = 0.005  # of itself: a bench's gauge is read no finer
MOST_ON_PASSAGE = 1.05  # a bench's and a lift's own error is less than the rest
NO_DEMAND = Notice("exhaust")
WHAT_ON_IS = (
    "On curtain, throat and passage: the flow over what would go through that area at the depression without loss. "
    "Curtain is valve circumference times lift; throat is less the stem; passage is the smallest way past the valve."
)
WHAT_ON_ALL_IS = " All {count} valves are counted together."
WHAT_MEAN_IS = (
    "Flow over area is the mean speed as if air did not thin out as it speeds up; mean speed, Mach, the peak and all "
    "speeds on the wall allow for that (isentropic). Short side, long side and highest are speeds on the wall over "
    "the mean speed of their section."
)
WHAT_FLAT_IS = (
    f"Flat: past that lift the flow gains no more than {REPEATS:.0%}, to which a bench repeats (common practice, no "
    "source)."
)


def airspeed_text(air: AirThrough, title: str) -> str:
    """Return the answer and the table of stations."""
    result, d = air.computed, air.display
    cfm, water = result.flow / M3_S_PER["cfm"], result.depression / PA_PER["in_h2o"]
    lines = [
        f"{title}: computed air speed at {cfm:.1f} cfm, {water:.1f} inH2O",
        "",
        *peak_lines(result, d),
        *room_lines(result, d, air.valve),
        *said("grid", _grid_text(result, d)),
        "",
    ]
    lines += notices_lines(air.notices, d)
    lines += table_lines(result, d)
    lines += ["", *textwrap.wrap(WHAT_IT_IS, WIDTH)]
    lines += textwrap.wrap(WHAT_MEAN_IS, WIDTH)
    if len(result.path.ports) > 1:
        lines.append(f"Stations below {d.length(float(result.path.starts[-1]))} are in the runner.")
    return "\n".join(lines)


def peak_lines(result: AirSpeed, d: Display, *, straight: bool = False) -> list[str]:
    """Return the peak of the short side and how the air slows past it.

    straight : of a path that may well not turn, its highest speed is then told alone.
    """
    if result.bend is None and straight:
        return said("highest", _at(result, result.highest, d))
    return [
        *said("short side", _peak_text(result, d)),
        *_past_ends_lines(result, d),
        *said("slowing", _slowing_text(result, d)),
    ]


def room_lines(result: AirSpeed, d: Display, valve: float | None = None) -> list[str]:
    """Return the throat, against the diameter of its valve's head where that is known, and the minimum area."""
    return [*said("throat", _throat_text(result, d, valve)), *said("min area", _least_text(result, d))]


def said(heading: str, text: str) -> list[str]:
    """Return a text beside its heading, no wider than a terminal."""
    # A heading longer than its column still stands apart from its text.
    first = f"  {heading} ".ljust(HEADING)
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=" " * HEADING)


def _peak_text(result: AirSpeed, d: Display) -> str:
    if result.side_peak is None:
        return "none: the path does not turn. Highest on the wall: " + _at(result, result.highest, d)
    text = "peak " + _at(result, result.side_peak, d)
    if result.highest.speed > result.side_peak.speed + result.side_peak.error + result.highest.error:
        text += f". Faster still elsewhere: {_at(result, result.highest, d)}"
    return text


def _grid_text(result: AirSpeed, d: Display) -> str:
    peak = result.side_peak or result.highest
    text = f"{result.wall.unknowns:,} points; they leave {speed_difference(peak.error, d)} of doubt in the peak"
    if peak.u is None:
        return text + "; no ± is given: the ± of the shape is not known"
    return text + "; ± is twice the standard uncertainty of shape and points together"


def _at(result: AirSpeed, peak: Peak, d: Display) -> str:
    x, y, z = (d.length(round(v, 6) + 0.0, label=False) for v in point_in_source(result.path, peak))
    doubt = "" if peak.u is None else f" ± {2.0 * peak.u / FOOT:.0f}" if d.unit == "in" else f" ± {2.0 * peak.u:.1f}"
    return (
        f"{d.speed(peak.speed)}{doubt}, {peak.over_mean:.2f} times the mean there, at station "
        f"{d.length(peak.station)}, {clock_text(peak.clock)} ({x}, {y}, {z} in the file)"
    )


def _past_ends_lines(result: AirSpeed, d: Display) -> list[str]:
    """Return what is taken of the tube past ends at which it still turns, and what hangs on it."""
    on = result.turning_on
    if on is None:
        return []
    where, past = ("past exit", "ends") if on.exit else ("before entry", "begins")
    if on.entry and on.exit:
        where, past = "past the ends", "begins and where it ends"
    text = (
        f"the port still turns where it {past}, and is taken to go straight on from there, as a seat's bore or a "
        "bench's adapter does. "
    )
    here = result.side_peak or result.highest
    if d.speed(on.peak.speed) == d.speed(here.speed):
        text += "If the turn goes on there, the peak is the same"
    else:
        bound = "up to" if on.peak.speed > here.speed else "as low as"
        text += (
            f"If the turn goes on there, the peak is {bound} {d.speed(on.peak.speed)}, at station "
            f"{d.length(on.peak.station)}: the truth lies between"
        )
    return said(where, text)


def _slowing_text(result: AirSpeed, d: Display) -> str:
    fall = result.slowing
    if fall is None:
        return "not judged: the path has no short side"
    at_exit = result.nearest_at_exit
    place = "the exit itself" if at_exit else f"station {d.length(float(result.wall.stations[fall.from_here]))}"
    if fall.recovered <= 0.0:
        return "the air does not slow past the peak"
    asked = (
        f"past the peak the air is asked to slow at up to {_used(fall)} of what air along a wall can follow, by "
        f"a published separation rule; pressure recovery {fall.recovered:.0%}"
    )
    if result.turning_on is not None and result.turning_on.exit:
        asked += "; judged up to the exit, where the air is still slowing"
    if fall.parts:
        return f"too quick: expect the air to leave the wall {'only at' if at_exit else 'from about'} {place} ({asked})"
    return f"the wall should hold its air; closest to leaving it at {place} ({asked})"


def _used(fall: Slowing) -> str:
    """Return the share of what the air along the wall can follow that is asked of it."""
    return f"{1.0 - fall.margin:.0%}"


def _throat_text(result: AirSpeed, d: Display, valve: float | None) -> str:
    throat = result.throat
    size = f"{d.length(throat.diameter)}"
    if valve is not None:
        size += f", {of_valve_text(throat.percent_of(valve))}"
    how = "" if throat.told_by == "mark" else f" (minimum near the {result.path.ports[-1].valve_end})"
    if throat.station == result.least_station:
        return f"{size}, at station {d.length(throat.station)}{how}: it is the minimum area"
    mean = result.mean_through(throat.area)
    return (
        f"{size}; {d.area(throat.area)} at station {d.length(throat.station)}{how}: mean {d.speed(mean)}; "
        f"it would choke at {result.throat_choke / M3_S_PER['cfm']:.0f} cfm, stem left out"
    )


def _least_text(result: AirSpeed, d: Display) -> str:
    mean = result.mean_through(result.least_area)
    mach = float(mach_through(result.flow, np.array([result.least_area * 1e-6]), result.air)[0])
    return (
        f"{d.area(result.least_area)} at station {d.length(result.least_station)}: mean {d.speed(mean)}, Mach "
        f"{mach:.2f}, {mean / result.ideal_speed:.0%} of the {d.speed(result.ideal_speed)} that the depression gives "
        f"without loss; it would choke at {result.choke / M3_S_PER['cfm']:.0f} cfm"
    )


def table_lines(result: AirSpeed, d: Display) -> list[str]:
    """Return the table of stations."""
    feet = d.unit == "in"
    head = f"{'station':>9} {'area':>9} {'flow/area':>9} {'mean':>8} "
    speed = "ft/s" if feet else "m/s"
    units = f"{d.unit:>9} {d.area_unit:>9} {speed:>9} {speed:>8} "
    lines = [head + f"{'Mach':>6} {'short':>7} {'long':>7} {'highest':>8}", units + f"{'':>6} " + f"{'over mean':>23}"]
    for k in range(len(result.stations)):
        over_area, mean = (d.speed(speeds[k], label=False) for speeds in (result.mean_speed, result.mean_isentropic))
        lines.append(
            f"{d.length(result.stations[k], label=False):>9} {d.area(result.area[k], label=False):>9} "
            f"{over_area:>9} {mean:>8} "
            f"{result.mach[k]:>6.3f} {_ratio(result.short_over_mean[k]):>7} "
            f"{_ratio(result.long_over_mean[k]):>7} {_ratio(result.highest_over_mean[k]):>8}"
        )
    return lines


def _ratio(value: float) -> str:
    return f"{value:.2f}" if np.isfinite(value) else "-"


def beside_text(air: AirThrough, planned_air: AirThrough, beside: Beside, name: str) -> str:
    """Return what a plan does to the peak."""
    today, planned, found, d = air.computed, planned_air.computed, beside.computed, air.display
    before, after = (r.side_peak or r.highest for r in (today, planned))
    cc = found.removed / 1000.0
    doubt = float(np.hypot(before.error, after.error))
    text = (
        f"{name}: the peak goes from {d.speed(before.speed)} to {d.speed(after.speed)}, "
        f"{'down' if found.peak_drop >= 0 else 'up'} {speed_difference(abs(found.peak_drop), d)}, for {cc:.2f} cc more "
        "volume"
    )
    if found.drop_per_cc is not None:
        text += f": {speed_difference(found.drop_per_cc, d)} for each cc" if found.peak_drop > 0 else ""
    if abs(found.peak_drop) < doubt:
        text += f". The grid leaves {speed_difference(doubt, d)} of doubt in the difference, more than it is"
    if today.slowing is not None and planned.slowing is not None:
        text += (
            f". Of what the air past the peak can follow, the wall asks {_used(today.slowing)} now and "
            f"{_used(planned.slowing)} planned"
        )
    return "\n".join(said("beside", text))


def speed_difference(speed: float, d: Display) -> str:
    """Return a difference of speeds, finer than a speed."""
    return f"{speed / FOOT:.1f} ft/s" if d.unit == "in" else f"{speed:.2f} m/s"


def demand_text(demanded: Demanded, air: AirThrough | AirThroughSplit) -> str:
    """Return what the engine asks of the port, and the power that the flow could feed where it is estimated."""
    engine, demand, d, sound = demanded.engine, demanded.computed, air.display, air.computed.air.sound
    through = [flow / (air.computed.least_area * 1e-6) for flow in (demand.mean_flow, demand.peak_flow)]
    source = "from the bench run" if air.run is not None else "typical, not measured"
    text = (
        f"mean piston speed {d.speed(demand.mean_piston_speed)} at {engine.speed * 60:.0f} rpm; a cylinder needs "
        f"{d.speed(through[0])} through the minimum area in the mean and {d.speed(through[1])} at the peak "
        f"(flow over area; sound goes {d.speed(sound)}). Past the valve the air goes at Mach {demand.mach_index:.2f} "
        f"in the mean (the inlet Mach index, with a mean flow coefficient of {demand.coefficient:.2f}, {source}); past "
        f"{INDEX_LIMIT:g} an engine begins to starve: that is at {demand.speed_at_limit * 60:.0f} rpm"
    )
    texts = ["\n".join(said("engine", text))]
    if demanded.power is not None:
        texts.append(_power_text(demanded.power, engine.cylinders))
    return "\n\n".join(texts)


def _power_text(power: Power, cylinders: int) -> str:
    """Return the power a flow could feed, as an estimate: of which flow, both ends of the range, what each is."""
    low, high = power.low, power.high
    text = (
        f"{low:.0f} to {high:.0f} hp, an estimate: what {cylinders} cylinders at {power.cfm_at_28:.0f} cfm (28 inH2O; "
        f"{power.flow_of}) could feed, naturally aspirated. {low:.0f} is ordinary good work, {POWER_RULE_LOW:.2f} "
        f"hp for each cfm a cylinder (common practice, no source); {high:.0f} is the ceiling often put, "
        f"{POWER_RULE_HIGH:.2f} (from memory, no source), which few engines reach. Cam, compression, manifold, "
        "exhaust and fuel decide: prove it on a dynamometer, and leave a margin in rods, valve springs and fuel for "
        "what it does make"
    )
    return "\n".join(said("power", text))


def bench_text(runs: Sequence[Run], depression: float, valve: Valve | None, d: Display) -> str:
    """Return runs side by side at one depression, and each against the valve."""
    water = depression / PA_PER["in_h2o"]
    lines = [f"bench runs, corrected to {water:.1f} inH2O (flow goes as the square root of depression)"]
    impossible: list[str] = []
    for number, run in enumerate(runs, start=1):
        flat = flattens(run, depression)
        says = f"best {at_depression(run, depression).max() / M3_S_PER['cfm']:.1f} cfm"
        if len(run.lift) == 1:
            says += f" at its one lift of {d.length(float(run.lift[0]))}, which makes no curve"
        elif flat.flat_from is None:
            says += "; never goes flat"
        else:
            says += f"; flat from a lift of {d.length(flat.flat_from)}"
        if flat.falls_from is not None:
            says += f"; flow falls past a lift of {d.length(flat.falls_from)}"
        lines += said(f"run {number}", f"{run.name}: {says}")
    for number, run in enumerate(runs, start=1):
        lines += ["", *_run_table(number, run, depression, valve, d)]
        if valve is not None:
            over = at_valve(run, valve).on_passage > MOST_ON_PASSAGE
            impossible += [f"run {number} at {d.length(float(lift))}" for lift in run.lift[over]]
    if valve is not None:
        size = f"{d.length(valve.throat)}, {of_valve_text(100.0 * valve.throat / valve.head)}"
        lines += ["", *said("throat", size)]
        several = WHAT_ON_ALL_IS.format(count=valve.count) if valve.count > 1 else ""
        lines += ["", *textwrap.wrap(WHAT_ON_IS + several, WIDTH)]
    if impossible:
        says = f"on passage over {MOST_ON_PASSAGE:g}, more than it can pass ({', '.join(impossible)})"
        lines += said("look at", says + ": check the zero of the lift, the seat's width and angle and the valve")
    pairs = worth_comparing(runs)
    for later in range(1, len(runs)):
        if not any(later in pair[:2] for pair in pairs):
            lines += ["", f"run {later + 1} has no lift in common with a run before it: nothing is set beside it"]
    for earlier, later, what in pairs:
        lines += ["", *_change_table(runs, earlier, later, what, depression, d)]
    if any(len(run.lift) > 1 for run in runs):
        lines += ["", *textwrap.wrap(WHAT_FLAT_IS, WIDTH)]
    return "\n".join(lines)


def _run_table(number: int, run: Run, depression: float, valve: Valve | None, d: Display) -> list[str]:
    flow = at_depression(run, depression) / M3_S_PER["cfm"]
    swirl = _swirl_heading(run, depression)
    wide = max(len(swirl), 8)
    head = f"{'lift ' + d.unit:>10} {'cfm':>8}" + (f" {swirl:>{wide}}" if run.swirl is not None else "")
    against = at_valve(run, valve) if valve is not None else None
    if against is not None:
        head += f" {'on curtain':>11} {'on throat':>10} {'on passage':>11}  limited by"
    lines = [f"run {number}: {run.name}", head]
    for k, lift in enumerate(run.lift):
        line = f"{lift / MM_PER[d.unit]:>10.3f} {flow[k]:>8.1f}"
        if run.swirl is not None:
            line += f" {run.swirl[k]:>{wide}.4g}" if np.isfinite(run.swirl[k]) else f" {'':>{wide}}"
        if against is not None:
            line += (
                f" {against.on_curtain[k]:>11.3f} {against.on_throat[k]:>10.3f} {against.on_passage[k]:>11.3f}"
                f"  {PASSAGES[against.limits[k]]}"
            )
        lines.append(line)
    return lines


def _swirl_heading(run: Run, depression: float) -> str:
    """Return the heading of a run's swirl, which is not corrected: with the depression that it was read at."""
    if np.allclose(run.depression, depression, rtol=SAME_DEPRESSION):
        return run.swirl_name
    low, high = (value / PA_PER["in_h2o"] for value in (run.depression.min(), run.depression.max()))
    read_at = f"{low:.3g}" if high - low < SAME_DEPRESSION * high else f"{low:.3g} to {high:.3g}"
    return f"{run.swirl_name}, as read at {read_at} inH2O"


def _change_table(
    runs: Sequence[Run], earlier: int, later: int, what: What, depression: float, d: Display
) -> list[str]:
    before, after = runs[earlier], runs[later]
    steps = change(before, after, depression)
    title = {
        "setup": f"what '{after.setup or after.name}' costs or gives"
        + (f" ({after.state})" if after.state and after.setup else ""),
        "state": f"what '{after.state or after.name}' gives or costs" + (f" ({after.setup})" if after.setup else ""),
        "both": "stage and set-up both differ",
    }[what]
    one, other = f"run {earlier + 1}", f"run {later + 1}"
    lines = [
        *textwrap.wrap(f"{title}: {other} less {one}", WIDTH),
        f"{'lift ' + d.unit:>10} {one:>8} {other:>8} {'cfm':>8} {'%':>7}",
    ]
    for k, lift in enumerate(steps.lift):
        was, now = steps.before[k] / M3_S_PER["cfm"], steps.after[k] / M3_S_PER["cfm"]
        mark = "" if steps.read[k] else f"  {other} lies between two readings"
        lines.append(
            f"{lift / MM_PER[d.unit]:>10.3f} {was:>8.1f} {now:>8.1f} {now - was:>+8.1f} "
            f"{(now / was - 1.0) * 100.0:>+7.1f}{mark}"
        )
    return lines
