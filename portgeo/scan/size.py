"""Size of a scan: which unit its numbers are in, and what scale and shrinkage make of them.

Bare coordinates come in; millimetres and a notice of how they were found go out.
"""

from __future__ import annotations

from portgeo.core.errors import InputError
from portgeo.core.notices import Notice
from portgeo.core.plane import FloatArray
from portgeo.core.units import MM_PER_INCH, LengthUnit

# The longest side of a mold's bounding box. From a short adapter in a small engine to a long runner
# with silicone spilled over its flange (common practice, no source).
LEAST_MM = 20.0
MOST_MM = 900.0
MOST_SCALE_ERROR_PERCENT = 10.0  # as much as a mold may be said to shrink
MOST_SHRINK_PERCENT = 10.0  # ten times what condensation-cure silicone does: more is a typing error


def judge_unit(vertices: FloatArray, file: str = "the file") -> tuple[LengthUnit, Notice]:
    """Return the unit that a scan's size speaks for, and the notice that says so.

    vertices : (n, 3) as in the file; file : its name, for the notice. A unit is plausible where it makes the
    longest side of the bounding box LEAST_MM to MOST_MM. Raises InputError where both units are, or neither is.
    """
    longest = float((vertices.max(axis=0) - vertices.min(axis=0)).max())
    as_mm = LEAST_MM <= longest <= MOST_MM
    as_inch = LEAST_MM <= longest * MM_PER_INCH <= MOST_MM
    both = f"{longest:.3g} mm if in millimeters, {longest * MM_PER_INCH:.4g} mm if in inches"
    if as_mm and as_inch:
        raise InputError(
            f"the file does not say its unit and its size fits both: it is {both} at its longest",
            hint="Pass --units-in mm or --units-in in",
        )
    if not as_mm and not as_inch:
        raise InputError(
            f"the file does not say its unit and its size fits neither: it is {both} at its longest",
            hint="Pass --units-in mm or --units-in in, with --scale where the file is in another unit",
        )
    unit: LengthUnit = "mm" if as_mm else "in"
    return unit, Notice("unit_judged", case=unit, file=file, as_mm=longest, as_inches=longest * MM_PER_INCH)


def scale_factor(scale: float | None = None, shrink_percent: float | None = None) -> float:
    """Return what lengths are multiplied by: `scale`, or 1 / (1 - P / 100) for a mold that shrank.

    Raises InputError for a factor that is not a positive number, or where both are given.
    """
    if scale is not None and shrink_percent is not None:
        raise InputError("both --scale and --shrink-percent are given", hint="Pass one of them")
    if shrink_percent is not None:
        if not -MOST_SHRINK_PERCENT <= shrink_percent <= MOST_SHRINK_PERCENT:
            raise InputError(
                f"a shrinkage of {shrink_percent:g} percent is not one of a mold",
                hint=f"Pass --shrink-percent within {MOST_SHRINK_PERCENT:g}; use --scale for another factor",
            )
        return 1.0 / (1.0 - shrink_percent / 100.0)
    if scale is None:
        return 1.0
    if not 0.0 < scale < float("inf"):
        raise InputError(f"a scale of {scale:g} is not a positive number", hint="Pass --scale such as 1.002")
    return float(scale)


def scale_share(percent: float | None) -> float | None:
    """Return the standard uncertainty of a scan's scale as a share, None where nothing is said of it.

    Raises InputError for what is no such error.
    """
    if percent is None:
        return None
    if not 0.0 <= percent <= MOST_SCALE_ERROR_PERCENT:
        raise InputError(
            f"an error of scale of {percent:g} percent is not one of a scanner or a mold",
            hint=f"Pass --scale-error-percent from 0 to {MOST_SCALE_ERROR_PERCENT:g}: 0.05 is 0.05 mm in 100 mm",
        )
    return percent / 100.0
