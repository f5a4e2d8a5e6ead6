"""A whole case for the solver: the grid, the air, the wall, the turbulence model and how it is solved, as files.

A mesh and what flows through it come in; the files by name go out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from portgeo.core.plane import FloatArray
from portgeo.viscous.foam import dictionary, face_list, header, scalars, vectors
from portgeo.viscous.polymesh import PolyMesh

Model = Literal["kOmegaSST", "realizableKE", "laminar"]

# Of the two-equation models and of the law of the wall; their authors' own (from memory).
BETA_STAR, KAPPA, E_SMOOTH = 0.09, 0.41, 9.8
# The wall's law over sand grains is 8.5 + ln(y / ks) / kappa (J. Nikuradse, 1933; from memory). The solver writes it as
# ln(E y / (Cs ks)) / kappa; the 0.5 that it takes by itself makes a rough pipe lose 10 % too much.
ROUGH_CONSTANT = 8.5
CS = E_SMOOTH / math.exp(ROUGH_CONSTANT * KAPPA)
INTENSITY = 0.03  # of the speed: air that comes in out of a still room; common practice, no source
SCALE = 0.05  # of the inlet's size: of the eddies that come in; common practice, no source
# Iterations between two times on the disk, by which it is judged whether the loss still moves. Odd: what flips from one
# iteration to the next would look at rest.
WRITTEN_EVERY = 35
WRITTEN_TO = 400  # iterations of a case that is run by hand; some 200 are usual
KEPT = 4  # times on the disk: they are compared, and the loss is their mean
LEFT = 1e-4  # of the pressure equation, at each iteration: fluxes then close to a part in a million
# How far each iteration goes: with the usual 0.9 and 0.7 the limited scheme never comes to rest, and the loss with it.
SPEED_STEP, TURBULENCE_STEP = 0.7, 0.5
MOST_CYCLES = 300  # of multigrid in one iteration
FIRST_STEPS = 10  # corrections of the potential flow that the solution begins with, for cells that lean
FIELDS = {
    "kOmegaSST": ("U", "p", "k", "omega", "nut"),
    "realizableKE": ("U", "p", "k", "epsilon", "nut"),
    "laminar": ("U", "p"),
}


@dataclass(frozen=True)
class Stream:
    """What flows: m3/s through an inlet of an area, m2, and a size, m; kinematic viscosity, m2/s.

    direction (3,) : of the air at the inlet. roughness : height of even sand grains, m, 0 for a smooth wall.
    """

    flow: float
    inlet_area: float
    inlet_size: float
    viscosity: float
    direction: FloatArray
    roughness: float = 0.0

    @property
    def speed(self) -> float:
        """Mean speed at the inlet, m/s."""
        return self.flow / self.inlet_area


def case_files(
    mesh: PolyMesh,
    stream: Stream,
    model: Model,
    *,
    cores: int = 1,
    layers: int = 0,
) -> dict[str, bytes]:
    """Return the files of a case by name, with slashes.

    layers : of the grid, for the parts of several cores. Its fields are even; `beginning` has others to begin from.
    """
    files = {
        "constant/polyMesh/points": header("vectorField", "points") + vectors(mesh.points),
        "constant/polyMesh/faces": header("faceList", "faces") + face_list(mesh.faces),
        "constant/polyMesh/owner": _labels(mesh, "owner") + scalars(mesh.owner),
        "constant/polyMesh/neighbour": _labels(mesh, "neighbour") + scalars(mesh.neighbour),
        "constant/polyMesh/boundary": _boundary(mesh),
        "constant/transportProperties": _plain(
            "transportProperties", "constant", {"transportModel": "Newtonian", "nu": stream.viscosity}
        ),
        "constant/turbulenceProperties": _plain("turbulenceProperties", "constant", _turbulence(model)),
        "system/controlDict": control(WRITTEN_TO),
        "system/fvSchemes": _plain("fvSchemes", "system", _schemes(model)),
        "system/fvSolution": _plain("fvSolution", "system", _solution(model)),
    }
    if cores > 1:
        files["system/decomposeParDict"] = _plain(
            "decomposeParDict",
            "system",
            {"numberOfSubdomains": cores, "method": "manual", "manualCoeffs": {"dataFile": '"cellDecomposition"'}},
        )
        part = (np.arange(mesh.cells) // (mesh.cells // layers)) * cores // layers
        files["constant/cellDecomposition"] = header("labelList", "cellDecomposition", "constant") + scalars(part)
    return {name: text.encode("ascii") for name, text in files.items()} | beginning(stream, model, {})


def beginning(stream: Stream, model: Model, inside: Mapping[str, FloatArray]) -> dict[str, bytes]:
    """Return the files of the fields to begin with. inside : values (n,) or (n, 3) by name, where not even."""
    return {f"0/{name}": field(name, stream, model, inside.get(name)).encode("ascii") for name in FIELDS[model]}


def control(end: int) -> str:
    """Return the file that says how far the solver goes on."""
    entries: dict[str, Any] = {
        "application": "simpleFoam", "startFrom": "latestTime", "startTime": 0, "stopAt": "endTime", "endTime": end,
        "deltaT": 1, "writeControl": "timeStep", "writeInterval": WRITTEN_EVERY, "purgeWrite": KEPT,
        "writeFormat": "ascii", "writePrecision": 12, "writeCompression": "off", "timeFormat": "general",
        "timePrecision": 6, "runTimeModifiable": False,
        "functions": {"shear": {
            "type": "wallShearStress", "libs": "(fieldFunctionObjects)", "patches": "(wall)",
            "writeControl": "writeTime",
        }},
    }  # fmt: skip
    return _plain("controlDict", "system", entries)


def field(name: str, stream: Stream, model: Model, inside: FloatArray | None = None) -> str:
    """Return the file of a field to begin with. inside : its values (n,) or (n, 3); without them even ones."""
    kind = "volVectorField" if name == "U" else "volScalarField"
    even, dimensions, patches = _field(name, stream, model)
    if inside is None:
        values = f"uniform {even}"
    else:
        listed = vectors(inside) if inside.ndim == 2 else scalars(inside)
        values = f"nonuniform List<{'vector' if inside.ndim == 2 else 'scalar'}> {listed.rstrip()}"
    return header(kind, name, "0") + dictionary(
        {"dimensions": dimensions, "internalField": values, "boundaryField": patches}
    )


def turbulence_at_inlet(stream: Stream) -> tuple[float, float]:
    """Return k, m2/s2, and omega, 1/s, of the air that comes in."""
    k = 1.5 * (INTENSITY * stream.speed) ** 2
    return k, float(np.sqrt(k)) / (BETA_STAR**0.25 * SCALE * stream.inlet_size)


def _field(name: str, stream: Stream, model: Model) -> tuple[str, str, dict[str, Any]]:
    """Return a field's even value, its dimensions and what holds on the patches."""
    none = {"type": "zeroGradient"}
    if name == "U":
        velocity = "({:.9g} {:.9g} {:.9g})".format(*(stream.speed * stream.direction))
        inlet = {
            "type": "flowRateInletVelocity",
            "volumetricFlowRate": f"constant {stream.flow:.12g}",
            "value": f"uniform {velocity}",
        }
        back = {"type": "inletOutlet", "inletValue": "uniform (0 0 0)", "value": f"uniform {velocity}"}
        return velocity, "[0 1 -1 0 0 0 0]", {"wall": {"type": "noSlip"}, "inlet": inlet, "outlet": back}
    if name == "p":
        fixed = {"type": "fixedValue", "value": "uniform 0"}
        return "0", "[0 2 -2 0 0 0 0]", {"wall": none, "inlet": none, "outlet": fixed}
    k, omega = turbulence_at_inlet(stream)
    value, dimensions, wall = {
        "k": (k, "[0 2 -2 0 0 0 0]", "kqRWallFunction"),
        "omega": (omega, "[0 0 -1 0 0 0 0]", "omegaWallFunction"),
        "epsilon": (BETA_STAR * k * omega, "[0 2 -3 0 0 0 0]", "epsilonWallFunction"),
        "nut": (k / omega, "[0 2 -1 0 0 0 0]", "nutkRoughWallFunction" if stream.roughness else "nutkWallFunction"),
    }[name]
    even = f"{value:.9g}"
    on_wall: dict[str, Any] = {"type": wall, "value": f"uniform {even if name != 'nut' else 0}"}
    if name == "nut":
        on_wall |= {"Cmu": BETA_STAR, "kappa": KAPPA, "E": E_SMOOTH}
        if stream.roughness:
            on_wall |= {"Ks": f"uniform {stream.roughness:.9g}", "Cs": f"uniform {CS:.6g}"}
        ends = {"type": "calculated", "value": f"uniform {even}"}
        return even, dimensions, {"wall": on_wall, "inlet": ends, "outlet": ends}
    inlet = {"type": "fixedValue", "value": f"uniform {even}"}
    outlet = {"type": "inletOutlet", "inletValue": f"uniform {even}", "value": f"uniform {even}"}
    return even, dimensions, {"wall": on_wall, "inlet": inlet, "outlet": outlet}


def _plain(name: str, place: str, entries: Mapping[str, Any]) -> str:
    return header("dictionary", name, place) + dictionary(entries)


def _labels(mesh: PolyMesh, name: str) -> str:
    note = (
        f'    note        "nPoints:{len(mesh.points)}  nCells:{mesh.cells}  nFaces:{len(mesh.faces)}  '
        f'nInternalFaces:{len(mesh.neighbour)}";\n'
    )
    return header("labelList", name).replace("    object", note + "    object")


def _boundary(mesh: PolyMesh) -> str:
    patches = {
        name: {"type": "wall" if name == "wall" else "patch", "nFaces": at.stop - at.start, "startFace": at.start}
        for name, at in mesh.patches.items()
    }
    return header("polyBoundaryMesh", "boundary") + f"{len(patches)}\n(\n{dictionary(patches, 1)})\n"


def _turbulence(model: Model) -> dict[str, Any]:
    if model == "laminar":
        return {"simulationType": "laminar"}
    return {"simulationType": "RAS", "RAS": {"RASModel": model, "turbulence": True, "printCoeffs": False}}


def _schemes(model: Model) -> dict[str, Any]:
    """Return how derivatives are made: of second order, limited where they would ring.

    Velocity by van Leer's limiter, which has no corner: with a limiter that is linear up to one, the demo's pressure
    flips by 0.3 % from each iteration to the next for ever. An upwind scheme of second order, tried on the demo, makes
    losses of its own: half as much again on the usual grids.
    """
    turbulent = [name for name in FIELDS[model] if name in ("k", "omega", "epsilon")]
    return {
        "ddtSchemes": {"default": "steadyState"},
        "gradSchemes": {"default": "Gauss linear"},
        "divSchemes": {
            "default": "none",
            "div(phi,U)": "bounded Gauss vanLeerV",
            **{f"div(phi,{name})": "bounded Gauss limitedLinear 1" for name in turbulent},
            "div((nuEff*dev2(T(grad(U)))))": "Gauss linear",
            "div(div(phi,U))": "Gauss linear",
        },
        "laplacianSchemes": {"default": "Gauss linear corrected"},
        "interpolationSchemes": {"default": "linear"},
        "snGradSchemes": {"default": "corrected"},
        "wallDist": {"method": "meshWave"},
    }


def _solution(model: Model) -> dict[str, Any]:
    pressure = {"solver": "GAMG", "smoother": "GaussSeidel", "tolerance": 1e-14, "relTol": LEFT, "maxIter": MOST_CYCLES}
    others = [name for name in FIELDS[model] if name not in ("p", "nut")]
    smooth = {"solver": "smoothSolver", "smoother": "symGaussSeidel", "tolerance": 1e-12, "relTol": 0.1}
    return {
        "solvers": {
            "p": pressure,
            "Phi": pressure | {"relTol": 1e-6},
            f'"({"|".join(others)})"': smooth,
        },
        "potentialFlow": {"nNonOrthogonalCorrectors": FIRST_STEPS},
        "SIMPLE": {"nNonOrthogonalCorrectors": 0, "consistent": True},
        "relaxationFactors": {"equations": {"U": SPEED_STEP, f'"({"|".join(others[1:]) or "none"})"': TURBULENCE_STEP}},
    }
