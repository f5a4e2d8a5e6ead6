"""Rows that give places alone, read off squared paper: what follows from them, and how sure it is."""

import numpy as np
import pytest

import portgeo as pg

BORE = 38.0  # mm, round
SQUARE = 0.5  # mm, to which the paper is read; where a scribed line's middle lies is judged to 0.2 mm


def on_paper(seed, rows=8):
    """A straight run, an arc and a straight run, its middle read off paper: rows, inside radius, volume."""
    rng = np.random.default_rng(seed)
    lead, inner, turn, end = rng.uniform(25, 45), rng.uniform(12, 30), np.radians(rng.uniform(45, 75)), 15.0
    radius = inner + BORE / 2.0
    length = lead + radius * turn + end
    s = np.linspace(0.0, length, rows)
    turned = np.clip((s - lead) / radius, 0.0, turn)
    past = np.maximum(s - lead - radius * turn, 0.0)
    x = np.minimum(s, lead) + radius * np.sin(turned) + past * np.cos(turned)
    z = -radius * (1.0 - np.cos(turned)) - past * np.sin(turned)
    x, z = (np.round((part + np.append(0.0, rng.normal(0.0, 0.2, rows - 1))) / SQUARE) * SQUARE for part in (x, z))
    read = [
        {"station": a, "x": b, "y": 0.0, "z": c, "shape": "round", "diameter": BORE, "tool": "caliper"}
        for a, b, c in zip(np.round(s, 1).tolist(), x.tolist(), z.tolist(), strict=True)
    ]
    return read, inner, np.pi / 4.0 * BORE**2 * length


def test_the_doubt_of_places_is_in_the_plus_minus():
    """Twelve bends: the inside radius and the volume, by their making, lie within 2 u of what places tell."""
    off = []
    for seed in range(12):
        rows, inner, volume = on_paper(seed)
        found = pg.survey(pg.port_from_rows(rows, units="mm"))
        side = found.short_side
        off.append(
            [
                (side.least_radius_mm - inner) / side.least_radius_u_mm,
                (found.volume_cc - volume / 1000.0) / found.volume_u_cc,
            ]
        )
    assert (np.abs(off) < 2.0).mean(axis=0) == pytest.approx(1.0, abs=0.1)


def test_headings_given_beside_places_are_as_sure_as_they_are_said_to_be():
    rows, _, _ = on_paper(0)
    vague = pg.survey(pg.port_from_rows(rows, units="mm")).short_side
    sure = pg.survey(pg.port_from_rows([row | {"turn_error_deg": 0.1} for row in rows], units="mm")).short_side
    assert sure.least_radius_u_mm < 0.7 * vague.least_radius_u_mm
