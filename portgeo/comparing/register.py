"""Bring two states of one port together, by the surface that nobody cut.

Two Ports come in; the rigid motion that takes AFTER into BEFORE's port frame goes out, with what it
rests on and how sure it is, or a refusal that says what the two seem to be.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from scipy.linalg import block_diag
from scipy.spatial import cKDTree

from portgeo.comparing.bulge import vertex_normals
from portgeo.comparing.distance import Wall, wall_from
from portgeo.comparing.fit import (
    MAJORITY,
    MIRROR,
    NEIGHBOURS,
    AfterPoints,
    Fit,
    Target,
    approach,
    calm_over,
    calm_residual,
    loosest,
    sampled,
    seek,
    settle,
    target_of,
)
from portgeo.comparing.scatter import robust_sigma
from portgeo.comparing.second_fit import OtherFit, by_openings, held_by, other_fits
from portgeo.comparing.tube import Walled
from portgeo.core.errors import GeometryError
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.port import Port

Method = Literal["none", "fixed", "auto"]

COARSE_POINTS, FINE_POINTS = 2500, 30000  # 30000 points of 0.03 mm noise place the wall within 0.001 mm
SECOND_POINTS = 5000  # a second fit is sought to tell how far it is off, not to lay anything by
NARROWEST_KERNEL_MM = 0.02  # chord errors of two clean meshes stay within half of it
KERNEL_NOISES = 3.0  # kernel over noise: 2 sigma then still pulls with half its weight
PLAIN_CUT = 3.0  # times what the wall scatters by round a point: that was cut
EDGE_MM = 5.0  # round a plain cut: there it fades out under the noise, as the margin of the map has it
LEAST_AWAY = 0.3  # of the wall, away from every plain cut: less does not hold the fit better than all of it
KERNEL_ROUNDS, KERNEL_SETTLED = 3, 1.1  # a kernel that the next would widen by less is wide enough
LOOSE_MM = 0.01  # sliding less certain than this on the wall alone, the openings help to hold it
LEAST_SHARE = 0.15  # of the wall in agreement: below it the two are not states of one port
ENOUGH_SHARE = 0.30  # of the wall in agreement: below it a warning
UNSURE_MM = 0.05  # standard uncertainty of the fit anywhere on the wall: above it a warning
PLAINLY = 0.9  # of the wall in agreement: the other hand need not be tried
MIRRORED_BETTER = 1.25  # times the wall in agreement: more than a cut on one side makes of a port that is even
ENDS = ("entry", "exit")  # every opening past the first is an exit
ROLLS = tuple(block_diag(1.0, [[c, -s], [s, c]], 1.0) for c, s in ((1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)))


@dataclass(frozen=True)
class Alignment:
    """How AFTER was brought into BEFORE's port frame.

    matrix : (4, 4), takes AFTER's port frame into BEFORE's. to_source : (4, 4), takes AFTER's source
    coordinates into BEFORE's. rms : of the distances on the surface the fit rests on. fixed_share :
    that surface's share of AFTER's wall (of the fixed surface, for `fixed`). centre : (3,) and
    covariance : (6, 6) of a small rotation (radians, about the centre) and a shift (mm), in BEFORE's
    port frame; zero for `none`. mirrored : AFTER was turned into the other hand first. others : where else
    the two fit as well. slides : (k, 6), the small motions that lead there, as of covariance.
    """

    method: Method
    matrix: FloatArray
    to_source: FloatArray
    rms: float
    fixed_share: float
    centre: FloatArray
    covariance: FloatArray
    mirrored: bool = False
    others: tuple[OtherFit, ...] = ()
    slides: FloatArray = field(default_factory=lambda: np.zeros((0, 6)))
    warnings: tuple[Notice, ...] = ()

    def moved(self, points: FloatArray) -> FloatArray:
        """Return points (n, 3) of AFTER's port frame in BEFORE's."""
        return points @ self.matrix[:3, :3].T + self.matrix[:3, 3]

    def between(self, before: Port, after: Port, whole: Port) -> Alignment:
        """Return the same motion as one between two passages of ports that split. whole : whose frame this is in."""
        turn = before.frame[:3, :3] @ whole.frame[:3, :3].T
        both = block_diag(turn, turn)
        return replace(
            self,
            matrix=before.frame @ self.to_source @ np.linalg.inv(after.frame),
            centre=before.frame[:3, :3] @ whole.to_source(self.centre) + before.frame[:3, 3],
            covariance=both @ self.covariance @ both.T,
            slides=self.slides @ both.T,
            warnings=(),
        )

    def pull(self, points: FloatArray, normals: FloatArray) -> FloatArray:
        """Return (n, 6): how the height of points (n, 3) along normals (n, 3) changes with the motion."""
        return np.hstack([np.cross(points - self.centre, normals), normals])

    def uncertainty(self, points: FloatArray, normals: FloatArray) -> FloatArray:
        """Return the standard uncertainty (n,) that the fit adds to distances along normals, other fits left out."""
        rows = self.pull(points, normals)
        return np.sqrt(np.maximum(np.einsum("ni,ij,nj->n", rows, self.covariance, rows), 0.0))


def align(
    before_walled: Walled,
    after_walled: Walled,
    method: Method = "auto",
    *,
    boxes: FloatArray | None = None,
    faces: tuple[str, ...] = (),
    hands: tuple[bool, ...] = (False,),
    wall: Wall | None = None,
) -> Alignment:
    """Return how AFTER comes into BEFORE's port frame.

    `none`: both sources share one frame. `auto`: from the port frames, by the wall that agrees.
    `fixed`: as `auto`, then by the surface that was not machined alone: the wall inside boxes (k, 2, 3), low and
    high corner in BEFORE's source coordinates, and the planes of the openings named in faces
    ("entry", "exit"); what these leave free stays as `auto` has it. hands : those AFTER may be of,
    True for the other. wall : BEFORE's, where it is made already.
    Raises GeometryError where the two do not fit each other, and says what they seem to be.
    """
    before, after = before_walled.port, after_walled.port
    if method == "none":
        joined = before.frame @ np.linalg.inv(after.frame)
        return Alignment(method, joined, np.eye(4), 0.0, 1.0, np.zeros(3), np.zeros((6, 6)))
    refuse_other_size(before, after)
    target = target_of(before_walled, wall or wall_of(before_walled))
    normals = vertex_normals(after.vertices, after.faces[after_walled.is_wall], 1)
    noise = float(np.hypot(before.noise, after.noise))
    coarse = max(NARROWEST_KERNEL_MM, KERNEL_NOISES * noise)
    kernel = max(NARROWEST_KERNEL_MM, KERNEL_NOISES * noise / NEIGHBOURS**0.5)
    fit, mirrored = _laid(target, after_walled, normals, coarse, hands)
    read = KERNEL_NOISES * float(np.hypot(_reading_error(before), _reading_error(after)))
    if fit.share < ENOUGH_SHARE and read > coarse:
        # Two sheets read anew agree nowhere to the last digit, but everywhere within their readings.
        coarse = kernel = read
        fit, mirrored = _laid(target, after_walled, normals, coarse, hands)
    if fit.share < ENOUGH_SHARE:
        _refuse_unlike(target, after_walled, normals, fit, coarse, hands)
    other_hand = _other_hand(target, after_walled, normals, fit, coarse) if len(hands) == 1 else ()
    points = _with_neighbours(sampled(after_walled, normals, FINE_POINTS, mirrored), noise)
    laid = fit.motion
    fit = settle(target, points, laid, kernel, noise, openings=False)
    if noise > 0.0:
        # Noise that neighbours share does not fall with their number: what is left of it tells how wide to look.
        for _ in range(KERNEL_ROUNDS):
            wide = KERNEL_NOISES * robust_sigma(calm_residual(target, points, fit.motion, kernel))
            if wide < KERNEL_SETTLED * kernel:
                break
            kernel = wide
            fit = settle(target, points, fit.motion, kernel, noise, openings=False)
    if loosest(target, fit) > LOOSE_MM:
        # What nothing held may have slid out of the openings' reach.
        fit = settle(target, points, laid, kernel, noise, openings=True)
    if noise > 0.0:
        fit = _off_the_edges(target, points, fit, kernel, noise)
    fewer = _with_neighbours(sampled(after_walled, normals, SECOND_POINTS, mirrored), noise)
    others = other_fits(target, fewer, fit, kernel, before_walled.walls_at)
    told: tuple[Notice, ...] = ()
    if others:
        ends_u = float(np.linalg.norm([*before.ends_u, *after.ends_u]))
        fit, settled = by_openings(target, points, fit, others, kernel, ends_u)
        others, told = ((), (Notice("told_by_openings"),)) if settled else (others, ())
    if method == "fixed":
        if (boxes is None or len(boxes) == 0) and not faces:
            raise GeometryError(
                "no surface is named to line up by",
                hint="Name an opening (--fixed entry) or a box round a surface that was not machined (--box), "
                "or use --align auto",
            )
        target = replace(target, boxes=np.zeros((0, 2, 3)) if boxes is None else np.sort(boxes, axis=1))
        named = [cap if ENDS[min(k, 1)] in faces else cap[:0] for k, cap in enumerate(points.openings)]
        points = replace(points, openings=tuple(named))
        near = approach(target, points, fit.motion, kernel)
        fit = settle(target, points, near, kernel, noise, openings=True, free=fit.covariance)
        if fit.share == 0.0:
            raise GeometryError(
                "no wall lies inside the box that is named to line up by",
                hint="Give the box in the coordinates of BEFORE's own file, two opposite corners",
            )
        others = held_by(target, points, fit, others, kernel)
    hand = np.eye(4)
    if mirrored:
        hand[:3, :3] = MIRROR
    matrix = fit.motion @ hand
    to_source = np.linalg.inv(before.frame) @ matrix @ after.frame
    return Alignment(
        method=method,
        matrix=matrix,
        to_source=to_source,
        rms=fit.rms,
        fixed_share=fit.share,
        centre=target.centre,
        covariance=fit.covariance,
        mirrored=mirrored,
        others=others,
        slides=np.array([one.shift for one in others]).reshape(-1, 6) / ([target.size] * 3 + [1.0] * 3),
        warnings=(*_doubts(target, fit, method), *told, *_two_places(others), *other_hand),
    )


def _with_neighbours(points: AfterPoints, noise: float) -> AfterPoints:
    """Return points that each go by the mean of those round them, where the walls are rough."""
    if noise == 0.0:
        return points
    return replace(points, around=cKDTree(points.wall).query(points.wall, k=NEIGHBOURS)[1])


def _off_the_edges(target: Target, points: AfterPoints, fit: Fit, kernel: float, noise: float) -> Fit:
    """Return the fit by the wall well away from what was plainly cut, where enough is left.

    The edge of a cut fades out under the noise: too shallow to be let go of, it draws the fit into the cut.
    """
    calm, over = calm_over(target, points, fit.motion)
    plainly = over & (np.abs(calm) > PLAIN_CUT * robust_sigma(calm[over]))
    plainly &= plainly[points.around].mean(axis=1) > MAJORITY  # and not one point of a wave
    if not plainly.any():
        return fit
    apart, _ = cKDTree(points.wall[plainly]).query(points.wall, distance_upper_bound=EDGE_MM)
    away = ~np.isfinite(apart)
    if away[over].mean() < LEAST_AWAY:
        return fit
    fitted = settle(target, replace(points, pulls=away), fit.motion, kernel, noise, openings=fit.rests_on_openings)
    return replace(fitted, share=fit.share)


def _two_places(others: tuple[OtherFit, ...]) -> tuple[Notice, ...]:
    """Return a notice for each other place where the two fit as well."""
    return tuple(
        Notice("fits_in_two_places", here=other.here, there=other.there, apart=other.apart) for other in others
    )


def _laid(
    target: Target, after: Walled, normals: FloatArray, kernel: float, hands: tuple[bool, ...]
) -> tuple[Fit, bool]:
    """Return the best fit of AFTER, and whether it is that of the other hand.

    A scan's floor is the inside of its turn, a sheet's is what the sheet says: where nothing agrees as the
    two lie, AFTER is tried on its other walls.
    """
    best: tuple[Fit, bool] | None = None
    for roll in ROLLS:
        for mirrored in hands:
            fit = seek(target, sampled(after, normals, COARSE_POINTS, mirrored), roll, kernel)
            if best is None or fit.share > 1.1 * best[0].share:
                best = fit, mirrored
            if best[0].share > PLAINLY:
                return best
        if best is not None and best[0].share > ENOUGH_SHARE:
            break
    assert best is not None
    return best


def _other_hand(target: Target, after: Walled, normals: FloatArray, fit: Fit, kernel: float) -> tuple[Notice, ...]:
    """Return a notice where AFTER, mirrored, fits plainly better than as it is."""
    if fit.share > PLAINLY:
        return ()
    other = seek(target, sampled(after, normals, COARSE_POINTS, True), np.eye(4), kernel)
    if other.share < MIRRORED_BETTER * fit.share:
        return ()
    return (Notice("other_hand", mirrored=other.share, as_is=fit.share),)


def _reading_error(port: Port) -> float:
    return max((reading.error for reading in port.readings), default=0.0)


def wall_of(port: Walled) -> Wall:
    """Return a port's wall, ready to be asked for distances."""
    return wall_from(port.port.vertices, port.port.faces[port.is_wall], port.port.noise)


def _doubts(target: Target, fit: Fit, method: Method) -> tuple[Notice, ...]:
    found = []
    loose = loosest(target, fit)
    if method == "auto" and fit.share < ENOUGH_SHARE:
        found.append(Notice("little_uncut_surface", share=fit.share))
    if loose > UNSURE_MM:
        found.append(Notice("loose_fit", loose=loose))
    if fit.rests_on_openings and method == "auto":
        found.append(Notice("held_by_openings"))
    return tuple(found)


def refuse_other_size(before: Port, after: Port) -> None:
    """Refuse two ports whose lengths cannot be of one port; name a unit that would explain it."""
    ratio = after.centreline.length / before.centreline.length
    for factor, words in ((25.4, "25.4 times"), (10.0, "10 times"), (1000.0, "1000 times")):
        if abs(np.log(ratio / factor)) < 0.1 or abs(np.log(ratio * factor)) < 0.1:
            larger = "AFTER" if ratio > 1 else "BEFORE"
            raise GeometryError(
                f"{larger} is {words} as large as the other: one of the two was read in another unit",
                hint="Give the unit of a mesh that has none (--units-in), or check the sheet's units",
            )
    if not 0.6 < ratio < 1.6:
        raise GeometryError(
            f"the two are {before.centreline.length:.1f} and {after.centreline.length:.1f} mm long: "
            "they are not two stages of one port",
            hint="Compare a port with itself, or check --scale and --shrink-percent",
        )


def _refuse_unlike(
    target: Target, after: Walled, normals: FloatArray, fit: Fit, kernel: float, hands: tuple[bool, ...]
) -> None:
    """Refuse what does not fit, and say whether the other hand would."""
    other = seek(target, sampled(after, normals, COARSE_POINTS, not hands[0]), np.eye(4), kernel)
    if len(hands) == 1 and other.share > max(1.5 * fit.share, ENOUGH_SHARE):
        raise GeometryError(
            f"AFTER is the other hand of BEFORE: mirrored, {100 * other.share:.0f} % of its wall agrees, "
            f"as it is {100 * fit.share:.0f} %",
            hint="Mirror one of the two files, or compare the runners of a set with --set",
        )
    if fit.share < LEAST_SHARE:
        raise GeometryError(
            f"the two have nothing in common, or nearly all of it was cut: only {100 * fit.share:.0f} % of the "
            f"wall agrees within {kernel:.2f} mm, however they are lined up",
            hint="Check that both files are of one port; where all of it was cut, line them up by a surface "
            "that was not machined (--align fixed) or by the files' own frame (--align none)",
        )
