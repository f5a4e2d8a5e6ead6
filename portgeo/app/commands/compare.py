"""compare: before and after of one port, or the runners of a set side by side."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from portgeo.app.commands.common import (
    add_bend,
    add_common,
    add_metal,
    add_scan,
    add_stations,
    called,
    load_asked,
    load_port,
    load_ports,
    naming,
    png_name,
    point,
    refuse_of_one_passage,
)

if TYPE_CHECKING:
    from portgeo.core.units import Display
    from portgeo.results.changed import Changed

HELP = "compare before and after: metal removed, deepest cut, area by station; or the runners of a set"
OF_ONE_PASSAGE = ("removed_mesh", "bend", "exhaust")
COLOURED, SOLIDS = (".ply", ".glb"), (".stl", ".ply", ".obj", ".3mf", ".glb")
EXAMPLE = """examples:
  portgeo compare stock.csv ported.csv
  portgeo compare stock.stl ported.stl --alloy iron --json cut.json --depth-mesh cut.ply
  portgeo compare stock.stl ported.stl --align fixed --fixed entry --box 0,-20,30,15,20,45
  portgeo compare twin.csv cut.csv           a port that splits: all of it, its divider and each leg
  portgeo compare --set 1.stl 2.stl 3.stl 4.stl --flow 301,299,306,288
  portgeo compare --set 1.csv 2.csv --gasket hole.dxf --spacing 1.75

Two sheets are laid as they were measured, from one entry along one centerline (--align none); where
a mesh is among the two, --align auto lays them together by the wall that was not cut. Densities of
the named alloys are handbook values for a common casting alloy: the mass is an estimate."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of compare."""
    parser.add_argument("before", nargs="?", metavar="BEFORE", help="sheet or mesh of the port as it was")
    parser.add_argument("after", nargs="?", metavar="AFTER", help="sheet or mesh of the port as it is")
    parser.add_argument("more", nargs="*", help="no more than two: runners of a set go after --set")
    parser.add_argument("--set", nargs="+", metavar="PORT", help="compare the runners of a set, either hand")
    parser.add_argument("--flow", type=_numbers, metavar="F1,F2,...", help="with --set: a bench flow for each runner")
    parser.add_argument(
        "--gasket",
        metavar="OUTLINE",
        help="with --set: the gasket's hole (dxf, svg, csv), drawn from the line the sheets are measured from",
    )
    parser.add_argument(
        "--spacing",
        type=_numbers,
        metavar="S1,S2,...",
        help="with --set: from each runner to the next on its right, looking in from the plenum, or one for all; "
        "gives the dividers' widths",
    )
    parser.add_argument(
        "--one-frame", action="store_true", help="with --set: the files' own coordinates are the manifold's"
    )
    parser.add_argument(
        "--entry-radii",
        type=_numbers,
        metavar="R1,R2,...",
        help="with --set: radius of each entry's edge by gauge, or four for each, at 12, 3, 6, 9 o'clock",
    )
    parser.add_argument("--gasket-at", choices=("entry", "exit"), default="entry", help="the opening it lies on")
    parser.add_argument("--align", choices=("none", "fixed", "auto"), help="how the two are lined up")
    parser.add_argument(
        "--fixed",
        action="append",
        choices=("entry", "exit"),
        help="with --align fixed: an opening that was not faced",
    )
    parser.add_argument(
        "--box",
        action="append",
        type=_box,
        metavar="X,Y,Z,X,Y,Z",
        help="with --align fixed: two corners, in BEFORE's coordinates, round wall that was not machined",
    )
    add_metal(parser)
    add_stations(parser)
    parser.add_argument("--depth-mesh", metavar="FILE", help="write AFTER colored by depth (ply, glb)")
    parser.add_argument("--removed-mesh", metavar="FILE", help="write the removed metal as a solid (stl, ply, ...)")
    parser.add_argument("--picture", metavar="FILE", type=png_name, help="write a picture of the depth (png)")
    parser.add_argument("--chart", metavar="FILE", type=png_name, help="write a chart of the area schedules (png)")
    parser.add_argument("--after-entry", type=point, metavar="X,Y,Z", help="as --entry, on AFTER's own mesh")
    parser.add_argument("--after-exit", type=point, metavar="X,Y,Z", help="as --exit, on AFTER's own mesh")
    parser.add_argument("--after-units-in", choices=("mm", "in"), help="as --units-in, of AFTER alone")
    add_bend(parser)
    add_scan(parser)
    add_common(parser)


def _of_after(args: argparse.Namespace) -> argparse.Namespace:
    """Return what AFTER is read by. Points on BEFORE's mesh mean nothing on AFTER's, unless both share one frame."""
    own = argparse.Namespace(**vars(args))
    if args.align != "none":
        own.entry = own.exit = own.up = None
    own.entry, own.exit = args.after_entry or own.entry, args.after_exit or own.exit
    own.units_in = args.after_units_in or args.units_in
    return own


def _numbers(text: str) -> list[float]:
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a list of numbers with commas between") from None


def _box(text: str) -> list[float]:
    values = _numbers(text)
    if len(values) != 6:
        raise argparse.ArgumentTypeError(f"'{text}' is not six numbers: two corners of a box")
    return values


def run(args: argparse.Namespace) -> None:
    """Compare and print."""
    from portgeo.core.errors import InputError
    from portgeo.files.disk import check_free

    outputs = (args.json, args.csv, args.depth_mesh, args.removed_mesh, args.picture, args.chart)
    check_free(outputs, args.force, (args.before, args.after, args.gasket, *(args.set or ())))
    _check_meshes(args)
    if args.more:
        hint = "Put --set before them to compare the runners of a set; BEFORE and AFTER are two"
        raise InputError(f"{2 + len(args.more)} ports are named", hint=hint)
    if args.set:
        if args.before or args.after:
            raise InputError("there is a port before --set", hint="Name all the runners after --set, and no other")
        _run_set(args)
        return
    if args.gasket:
        raise InputError("a gasket is compared with the runners of a set", hint="Use --set, or match for one joint")
    if args.spacing or args.one_frame or args.entry_radii:
        raise InputError("this is for the runners of a set", hint="Name them after --set, or leave it out")
    if not args.before or not args.after:
        raise InputError("two files are needed", hint="Name BEFORE and AFTER, or the runners of a set after --set")
    _run_pair(args)


def _check_meshes(args: argparse.Namespace) -> None:
    """Refuse, before any work, a mesh in a format that is not written or that holds no colours."""
    from portgeo.core.errors import OutputError

    for path, formats in ((args.depth_mesh, COLOURED), (args.removed_mesh, SOLIDS)):
        if path and Path(path).suffix.lower() not in formats:
            raise OutputError(
                "this mesh cannot be written to such a file",
                file=path,
                hint=f"End the name in one of {', '.join(formats)}",
            )


def _run_pair(args: argparse.Namespace) -> None:
    from portgeo.core.errors import InputError
    from portgeo.core.port import Port
    from portgeo.files.disk import write_json, write_table_csv
    from portgeo.front.states import compare
    from portgeo.present.text.compare import comparison_text

    if args.align != "fixed" and (args.fixed or args.box):
        option = "--fixed" if args.fixed else "--box"
        raise InputError("this goes with another way to line the two up", where=option, hint="Add --align fixed")
    before, after = load_ports([(args.before, args), (args.after, _of_after(args))], load_asked)
    if not isinstance(before, Port) and not isinstance(after, Port):
        _run_split(args, before, after)
        return
    for path, port in ((args.before, before), (args.after, after)):
        if not isinstance(port, Port):
            raise InputError("this port splits, and the other is one passage", file=path, hint="Name its leg: --leg")
    changed: Changed = compare(
        before, after, align=args.align, fixed=args.fixed or (), boxes=args.box or (), stations=args.stations,
        alloy=args.alloy, density_g_cc=args.density,
    )  # fmt: skip
    display = before.display
    if args.json:
        write_json(args.json, changed.to_dict(), force=args.force)
    if args.csv:
        write_table_csv(args.csv, *changed.stations.to_csv(display), force=args.force)
    title = called(f"{Path(args.before).name} -> {Path(args.after).name}", args)
    if not args.quiet:
        print(comparison_text(changed, title, "metal" if args.density else args.alloy))
    if args.removed_mesh:
        _write_removed(changed, args)
    _draw(args, {"": changed}, display, title)


def _run_split(args: argparse.Namespace, before: Any, after: Any) -> None:
    from portgeo.files.disk import write_json, write_table_csv
    from portgeo.front.states import compare
    from portgeo.present.text.compare import split_comparison_text

    refuse_of_one_passage(args.before, args, OF_ONE_PASSAGE)
    changed = compare(
        before, after, align=args.align, fixed=args.fixed or (), boxes=args.box or (), stations=args.stations,
        alloy=args.alloy, density_g_cc=args.density,
    )  # fmt: skip
    if args.json:
        write_json(args.json, changed.to_dict(), force=args.force)
    if args.csv:
        head, rows = changed.to_csv()
        write_table_csv(args.csv, head, rows, force=args.force)
    title = f"{Path(args.before).name} -> {Path(args.after).name}"
    if not args.quiet:
        print(split_comparison_text(changed, title, "metal" if args.density else args.alloy))
    _draw(args, {each.name: each.changed for each in changed.passages}, before.display, title)


def _draw(args: argparse.Namespace, passages: Mapping[str, Changed], display: Display, title: str) -> None:
    """Write what is seen of the depth, of one passage or of all that a port splits into."""
    if not (args.depth_mesh or args.chart or args.picture):
        return
    from portgeo.present.pictures.depth import depth_colours, depth_picture, schedules_figure

    found = {name: each.computed for name, each in passages.items()}
    if args.depth_mesh:
        from portgeo.files.meshes.mesh import write_mesh

        vertices, faces, colours = depth_colours(tuple(found.values()))
        write_mesh(args.depth_mesh, vertices, faces, force=args.force, colours=colours)
    if args.chart:
        from portgeo.present.pictures.charts import save

        save(schedules_figure(found, display), args.chart, force=args.force)
    if args.picture:
        depth_picture(tuple(found.values()), display, title, args.picture, force=args.force)


def _write_removed(changed: Changed, args: argparse.Namespace) -> None:
    from portgeo.core.errors import OutputError
    from portgeo.files.meshes.mesh import write_mesh

    with naming(args.removed_mesh):
        vertices, faces = changed.removed_solid()
    if len(faces) == 0:
        raise OutputError(
            "no metal was removed, so there is no solid of it to write",
            file=args.removed_mesh,
            hint="Leave out --removed-mesh",
        )
    write_mesh(args.removed_mesh, vertices, faces, force=args.force)


def _run_set(args: argparse.Namespace) -> None:
    from portgeo.core.errors import InputError
    from portgeo.core.units import MM_PER
    from portgeo.files.disk import named_twice, write_json, write_table_csv
    from portgeo.front.states import balance, by_runner
    from portgeo.present.text.balance import balance_text

    twice = named_twice([Path(path).resolve() for path in args.set])
    if twice is not None:
        what = f"runners {twice[0] + 1} and {twice[1] + 1} are one file"
        raise InputError(what, file=args.set[twice[1]], where="--set", hint="Name each runner's own file")
    runners = load_ports([(path, args) for path in args.set], load_port)
    per = MM_PER[runners[0].display.unit]
    spacing, radii = (
        [per * length for length in given] if given else None for given in (args.spacing, args.entry_radii)
    )
    balanced = balance(
        runners, flows=args.flow, gasket=args.gasket, gasket_at=args.gasket_at, spacing_mm=spacing,
        one_frame=args.one_frame, entry_radii_mm=by_runner(radii, len(runners)),
    )  # fmt: skip
    if args.json:
        write_json(args.json, balanced.to_dict(), force=args.force)
    if args.csv:
        write_table_csv(args.csv, *balanced.stations.to_csv(balanced.display), force=args.force)
    if not args.quiet:
        print(balance_text(balanced, args.set))
    if args.chart:
        from portgeo.present.pictures.charts import save
        from portgeo.present.pictures.depth import balance_figure

        save(balance_figure(balanced.computed, args.set, balanced.display), args.chart, force=args.force)
