"""loss: the pressure that a port loses, by a viscous solution in an open solver."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from portgeo.app.commands.common import (
    add_bend,
    add_common,
    add_scan,
    in_options,
    length_of,
    load_port,
    number_of,
    progress_bar,
)

if TYPE_CHECKING:
    from portgeo.results.lost import PressureLost

HELP = "pressure lost in a port, and how others beside it differ: a viscous solution in an open solver"
EXAMPLE = """examples:
  portgeo loss port.csv --cfm 210
  portgeo loss as-cast.csv first-cut.csv planned.stl --cfm 210 --out flow
  portgeo loss port.csv --cfm 210 --roughness 0.002in --grid fine --cores 4 --out flow

It is solved in OpenFOAM (Debian, Ubuntu: apt install openfoam) and takes minutes. --out keeps the cases and
pictures of them; stopped, the same command goes on where it was. Without OpenFOAM the cases are written there,
to be run elsewhere: run the command again on what came back."""
PICTURES = ("wall.png", "sections.png")  # of each port, in its folder
CHART = "lost-by-station.png"
VTU = "flow.vtu"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of loss."""
    parser.add_argument(
        "ports", metavar="PORT", nargs="+", help="section sheets or meshes; changes are against the first"
    )
    parser.add_argument("--cfm", metavar="F", required=True, help="flow through the port, cubic feet a minute")
    parser.add_argument(
        "--roughness", metavar="LENGTH", help="of the wall, as the height of even sand grains (0: smooth)"
    )
    parser.add_argument(
        "--grid", choices=("quick", "usual", "fine"), default="usual", help="how fine: quick is rough, fine takes long"
    )
    parser.add_argument("--one-model", action="store_true", help="leave out the second turbulence model")
    parser.add_argument("--cores", metavar="N", default="1", help="cores that solve it together (1)")
    parser.add_argument("--hosts", metavar="FILE", help="machines that solve it together: a file for mpirun")
    parser.add_argument("--out", metavar="CASE", help="keep the cases in this folder, with pictures, and go on there")
    parser.add_argument("--vtu", action="store_true", help="write each port's flow there as VTU too, for a 3D viewer")
    add_bend(parser)
    add_scan(parser)
    add_common(parser)


def run(args: argparse.Namespace) -> None:
    """Solve, and print."""
    from portgeo.core.errors import InputError
    from portgeo.files.disk import check_free
    from portgeo.front.losing import loss

    if args.vtu and not args.out:
        raise InputError("--vtu needs a folder to write to", hint="Name one with --out")
    check_free([args.json, args.csv], args.force, (*args.ports, args.hosts))
    cfm, cores = number_of(args, "cfm"), number_of(args, "cores")
    if cores != int(cores):
        raise InputError(f"'{args.cores}' is not a number of cores", where="--cores", hint="Give a whole number")
    ports = [load_port(path, args) for path in args.ports]
    unit = ports[0].display.unit
    rough = 0.0 if args.roughness is None else length_of(args.roughness, unit, "--roughness")
    with in_options(), progress_bar("loss", quiet=args.quiet) as progress:
        lost = loss(
            ports, cfm, names=[Path(path).stem for path in args.ports], roughness_mm=rough, grid=args.grid,
            compare_models=not args.one_model, cores=int(cores), hosts=args.hosts, out=args.out, progress=progress,
        )  # fmt: skip
    _give(args, lost)


def _give(args: argparse.Namespace, lost: PressureLost) -> None:
    from portgeo.files.disk import write_json, write_table_csv
    from portgeo.present.text.loss import loss_text

    if args.json:
        write_json(args.json, lost.to_dict(), force=args.force)
    if args.csv and lost.states:
        write_table_csv(args.csv, *lost.states[0].stations.to_csv(lost.display), force=args.force)
    if args.out and lost.states:
        _draw(args, lost)
    if not args.quiet:
        print(loss_text(lost))


def _draw(args: argparse.Namespace, lost: PressureLost) -> None:
    """Write the pictures, and the flow itself where it is asked for; the solver's work is kept beside them."""
    from portgeo.core.errors import OutputError
    from portgeo.present.pictures.charts import save
    from portgeo.present.pictures.flow import lost_figure, sections_figure, shear_picture, write_vtu

    folder, no_picture = Path(args.out), None
    save(lost_figure(lost.states, lost.display), str(folder / CHART), force=True)
    for state in lost.states:
        own = folder / state.name
        wall, sections = PICTURES
        save(sections_figure(state, lost.display), str(own / sections), force=True)
        if args.vtu:
            write_vtu(state, own / VTU, force=True)
        try:
            shear_picture(state, lost.display, str(own / wall), force=True)
        except OutputError as refusal:
            no_picture = refusal
    if no_picture is not None:
        print(f"portgeo: {no_picture}", file=sys.stderr)
