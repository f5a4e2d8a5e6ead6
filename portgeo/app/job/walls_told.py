"""Whether a job says of which state the wall readings are that limit its cut.

A JobFile and the readings that its target names come in; nothing goes out, or a refusal.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePosixPath

from portgeo.core.errors import InputError
from portgeo.files.toml.job import JobFile


def check_walls(file: JobFile, named: Sequence[str], start: int, table: str = "target") -> None:
    """Raise InputError where the wall readings that limit a cut may be of another state than it starts from.

    named : the files of readings, from the job's folder. start : number of the state. table : of the job, which asks
    for the cut. The wall gets thinner from state to
    state, so a reading of an earlier one would have the cut go too deep. With one state there is no doubt.
    """
    job = file.job
    if not named or len(job.state) == 1:
        return
    if job.walls is None or PurePosixPath(job.walls.file) != PurePosixPath(named[0]):
        raise InputError(
            f"the cut is limited by the wall readings in '{named[0]}', and nothing says in which stage they were taken",
            file=str(file.path),
            where=file.where(table if job.walls is None else "walls"),
            hint=f'Write under [walls]  file = "{named[0]}"  and one of: {job.said_states}',
        )
    begun, read = job.state[start].name, job.state[job.index(job.walls.state)].name
    if begun != read:
        raise InputError(
            f"the cut starts from '{begun}', and the wall was read in '{read}', when it was of another thickness",
            file=str(file.path),
            where=file.where("walls", 0, "state"),
            hint=f"Read the wall again in '{begun}', or take what was cut off each reading; then name '{begun}'",
        )
