"""A step of a job: its settings, files and earlier steps, and the key of them all.

A JobFile and what a step is made of come in; the steps by name, with the hashes of the files they read, go out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from portgeo.app.job.keep import key_of
from portgeo.files.disk import sha256_of
from portgeo.files.toml.job import JobFile


@dataclass(frozen=True)
class Step:
    """One result to be made.

    name : its own, in this job. title : for a person. work : the function of `portgeo.app.job.work` that
    makes it. settings : plain values. files : role, name from the job's folder, SHA-256. needs : role,
    name of an earlier step. key : the hash of it all. on : what it is worked out on, such as cores; no part of the key.
    """

    name: str
    title: str
    work: str
    settings: dict[str, Any]
    files: tuple[tuple[str, str, str], ...]
    needs: tuple[tuple[str, str], ...]
    key: str
    on: dict[str, Any] = field(default_factory=dict)


@dataclass
class Steps:
    """The steps of a job by name, in order; `skipped` holds step and reason, `inputs` name, hash and what."""

    job: JobFile
    by_name: dict[str, Step] = field(default_factory=dict)
    skipped: list[dict[str, str]] = field(default_factory=list)
    inputs: dict[str, tuple[str, str]] = field(default_factory=dict)

    def input(self, name: str, what: str) -> str:
        """Note an input and return its SHA-256."""
        if name not in self.inputs:
            self.inputs[name] = (sha256_of(self.job.folder / name), what)
        return self.inputs[name][0]

    def add(
        self,
        name: str,
        title: str,
        work: str,
        settings: dict[str, Any],
        files: Sequence[tuple[str, str, str]] = (),
        needs: dict[str, str | None] | None = None,
        on: dict[str, Any] | None = None,
    ) -> str:
        """Add a step and return its name. files : role, name, what. needs : role to name, None for none."""
        told = tuple((role, file, self.input(file, what)) for role, file, what in files)
        after = tuple((role, other) for role, other in (needs or {}).items() if other is not None)
        key = key_of(work, settings, told, [(role, self.by_name[other].key) for role, other in after])
        self.by_name[name] = Step(name, title, work, settings, told, after, key, on or {})
        return name

    def skip(self, step: str, why: str) -> None:
        """Note what is left out."""
        self.skipped.append({"step": step, "why": why})

    def leave(self, name: str, why: str) -> None:
        """Take a step out again that nothing else needs, and note why."""
        step = self.by_name.pop(name)
        self.skip(step.title, why)


def metal_of(steps: Steps) -> dict[str, Any]:
    """Return the casting's metal: its alloy or its density."""
    metal = steps.job.job.metal
    alloy = metal.alloy or ("aluminum" if metal.density_g_cc is None else None)
    return {"alloy": alloy, "density_g_cc": metal.density_g_cc}


def one_valve(steps: Steps) -> float | None:
    """Return the valve's diameter, where a port has one valve and not several at one end."""
    engine = steps.job.job.engine
    return None if engine is None or engine.valves != 1 else engine.valve
