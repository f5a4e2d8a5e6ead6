"""Whether a job says of which state the wall readings are that limit its cut.

A JobFile and the readings that its target names come in; nothing goes out, or a refusal.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePosixPath

from portgeo.core.errors import InputError
from portgeo.files.toml.job import JobFile


def check_walls(file: JobFile, named: Sequence[str]) -> None:
    """Raise InputError where a target's wall readings may be of another state than its cut starts from.

    named : the target's files of readings, from the job's folder. The wall gets thinner from state to
    state, so a reading of an earlier one would have the cut go too deep. With one state there is no doubt.
    """
    job = file.job
    if not named or job.target is None or len(job.state) == 1:
        return
    if job.walls is None or PurePosixPath(job.walls.file) != PurePosixPath(named[0]):
        raise InputError(
            f"the cut is limited by the wall readings in '{named[0]}', and nothing says in which state they were taken",
            file=str(file.path),
            where=file.where("target" if job.walls is None else "walls"),
            mend=f'Write under [walls]  file = "{named[0]}"  and one of: {job.said_states}',
        )
    start, read = (job.state[job.index(table.state)].name for table in (job.target, job.walls))
    if start != read:
        raise InputError(
            f"the cut starts from '{start}', and the wall was read in '{read}', when it was of another thickness",
            file=str(file.path),
            where=file.where("walls", 0, "state"),
            mend=f"Read the wall again in '{start}', or take what was cut off each reading; then name '{start}'",
        )
