"""Every color that is read stands off every ground that it stands on, by WCAG 2.1's own arithmetic (W3C, 2018)."""

import re
from itertools import product

import pytest

from portgeo.present.page.pieces import asset

READ = ("ink", "soft", "go", "hot", "bad", "edge", "s0", "s1", "s2", "s3", "s4", "s5")
GROUNDS = ("ground", "shade", "span")
LEAST = 4.5  # success criterion 1.4.3


def luminance(color):
    digits = color.lstrip("#")
    digits = digits if len(digits) == 6 else "".join(2 * digit for digit in digits)
    parts = [int(digits[k : k + 2], 16) / 255.0 for k in (0, 2, 4)]
    linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_arithmetic_gives_black_on_white_21():
    assert contrast("#000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("sheet", ["page.css", "live.css"])
def test_all_that_is_read_can_be_read(sheet):
    blocks = [
        dict(re.findall(r"--(\w+): (#[0-9a-f]+)", block))
        for block in re.findall(r":root[^{]*\{([^}]*)\}", asset(sheet))
    ]
    blocks = [block for block in blocks if "ground" in block]
    assert blocks
    for colors in blocks:
        for name, ground in product(READ, GROUNDS):
            if name in colors and ground in colors:
                assert contrast(colors[name], colors[ground]) >= LEAST, (sheet, name, ground)
