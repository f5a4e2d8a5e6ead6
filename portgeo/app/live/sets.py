"""A set of runners on the page: how they differ, each one's core shift, and the flows of all cylinders.

What was asked, or what a job says, comes in; lines and tables for the page go out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from portgeo.app.live.answer_parts import Asked, Progress, job_of, said_lines
from portgeo.app.live.stages import said_in
from portgeo.core.errors import InputError, PortgeoError

MOST_FLOWS = 24  # cylinders


def flows_told(content: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return mean, spread and the odd one out of the flows that a job gives of its cylinders; None without flows."""
    flows = said_in(content, "set").get("flows")
    numbers = isinstance(flows, list) and all(isinstance(f, int | float) and not isinstance(f, bool) for f in flows)
    if not isinstance(flows, list) or not numbers or not 2 <= len(flows) <= MOST_FLOWS:
        return None
    from portgeo.front.states import flows_of_set
    from portgeo.present.text.balance import flows_lines

    try:
        found = flows_of_set([float(flow) for flow in flows])
    except PortgeoError:
        return None  # told in its form
    rows = [
        [str(k), f"{flow:.1f}", f"{off:+.1f}".replace("-", "−")]
        for k, (flow, off) in enumerate(zip(flows, found.off_others_percent, strict=True), start=1)
    ]
    table = {"caption": "Cylinder by cylinder", "columns": ["cylinder", "flow", "off the others, %"], "rows": rows}
    return {"lines": said_lines("\n".join(["", *flows_lines(found)])), "tables": [table], "files": []}


def set_answer(asked: Asked, progress: Progress) -> dict[str, Any]:
    """Return how the runners of the job's set differ, and how far each one's core is shifted. Raises PortgeoError."""
    from portgeo.files.ports import is_sheet
    from portgeo.front.ports import read
    from portgeo.front.states import balance, by_runner
    from portgeo.present.page.live import shown_html
    from portgeo.present.page.set_tables import set_tables
    from portgeo.present.text.balance import set_lines

    job = job_of(asked)
    of = job.job.set
    if of is None:
        raise InputError("there is no set of runners yet", hint="Say how many, and type their readings")
    scan = {} if of.scan is None else of.scan.model_dump()
    scan = {{"units": "units_in", "with_stem": "with_stem_mm"}.get(key, key): value for key, value in scan.items()}
    runners = []
    for k, file in enumerate(of.files):
        progress(f"reading runner {k + 1}", k / (len(of.files) + 1))
        runners.append(read(job.folder / file, name=file, units=asked.units, **({} if is_sheet(file) else scan)))
    progress("setting them side by side", None)
    gasket = None if of.gasket is None else job.folder / of.gasket
    found = balance(
        runners, flows=of.flows, gasket=gasket, gasket_at=of.gasket_at, spacing_mm=of.spacing, one_frame=of.one_frame,
        entry_radii_mm=by_runner(of.entry_radii, len(runners)),
    )  # fmt: skip
    tables = [
        {"caption": table.caption, "columns": [], "rows": [], "html": shown_html(table, found.display)}
        for table in set_tables(found.to_dict())
    ]
    return {"lines": set_lines(found, of.files), "tables": tables, "files": []}
