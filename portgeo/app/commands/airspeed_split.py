"""airspeed of a port that splits: all passages solved together. A part of the command airspeed."""

from __future__ import annotations

import argparse
from os.path import basename
from typing import TYPE_CHECKING, Any

from portgeo.app.commands.common import length_of, refuse_of_one_passage
from portgeo.core.errors import InputError, naming

if TYPE_CHECKING:
    from portgeo.results.benched import Benched
    from portgeo.results.split_air import AirThroughSplit

# What is said of one passage or its valve.
OF_ONE_PASSAGE = ("probe", "beside", "runner", "throat", "stem", "picture", "bend")


def shares_of(typed: str) -> dict[str, float]:
    """Return the legs' shares as typed, NAME=0.55 or NAME=55%, by commas. Raises InputError where one is none."""
    shares: dict[str, float] = {}
    for text in typed.split(","):
        name, _, number = text.partition("=")
        percent = number.strip().endswith("%")
        try:
            share = float(number.strip().removesuffix("%")) / (100.0 if percent else 1.0)
        except ValueError:
            hint = "Write the leg's name and its part of the flow, as left=0.55 or left=55%"
            raise InputError(f"'{text[:40]}' is no leg's share", where="--shares", hint=hint) from None
        if name.strip() in shares:
            raise InputError(f"leg {name.strip()} has two shares", where="--shares", hint="Give one for each leg")
        shares[name.strip()] = share
    return shares


def through_split(
    args: argparse.Namespace, port: Any, cfm: float | None, bench: Benched | None, depression: float
) -> AirThroughSplit:
    """Return the air through a port that splits, as typed."""
    from portgeo.front.air import air_speed

    # Without an engine a valve is set over a throat, and each leg has its own.
    refuse_of_one_passage(args.port, args, (*OF_ONE_PASSAGE, *(["valve"] if args.bore is None else [])))
    if args.exhaust:
        raise InputError(
            "the air of an exhaust comes out of the legs, and this follows it into them", file=args.port,
            hint="Name a leg with --leg, and what flows through it with --cfm",
        )  # fmt: skip
    lift = None if args.lift is None else length_of(args.lift, port.display.unit, "--lift")
    shares = shares_of(args.shares) if args.shares else None
    with naming(args.port):
        return air_speed(
            port, cfm, bench=bench, run=args.run_name, lift_mm=lift, depression_in_h2o=depression, shares=shares,
            unknowns=args.points,
        )  # fmt: skip


def tell_split(args: argparse.Namespace, air: AirThroughSplit) -> list[str]:
    """Write the table and the chart where they are asked for; return what is to be printed."""
    from portgeo.files.disk import write_table_csv
    from portgeo.present.text.split_speed import split_airspeed_text

    if args.csv:
        write_table_csv(args.csv, *air.to_csv(), force=args.force)
    if args.chart:
        from portgeo.present.pictures.charts import save
        from portgeo.present.pictures.speed import speed_figure

        shown = [(part.name, part.computed) for part in air.passages]
        save(speed_figure(shown, air.display, air.computed.flow), args.chart, force=args.force)
    title = basename(args.port) + ("" if air.run is None else f" ({air.run.name})")
    return [split_airspeed_text(air, title)]
