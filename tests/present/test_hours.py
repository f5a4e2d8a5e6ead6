"""What the work took sets the pace of what is to come: the shop's own, never an assumed one."""

import pypdfium2
import pytest

from portgeo.present.paper.customer import customer_pages
from portgeo.present.text.hours import pace_text
from portgeo.results.hours import hours_of
from tests.present.conftest import INCHES


def test_the_next_cut_and_the_other_ports_go_at_the_pace_so_far():
    """Two cuts of 3 and 1 cc in 1.5 and .5 h are 2 cc an hour: 1 cc more is half an hour, three ports 2.5 h each."""
    hours = hours_of([(1.5, 3.0), (0.5, 1.0)], planned_cc=1.0, other_ports=3)
    assert hours["cc_per_hour"] == 2.0 and hours["planned_hours"] == 0.5
    assert hours["port_hours"] == 2.5 and hours["other_ports_hours"] == 7.5
    said = pace_text(hours)
    assert said == "4.00 cc took 2 h, 2.00 cc an hour; this cut should take about 0.5 h, the other 3 ports 7.5 h"


@pytest.mark.parametrize("timed", [[], [(2.0, 0.0)]])
def test_without_hours_or_metal_nothing_is_said(timed):
    assert hours_of(timed, planned_cc=1.0) is None


@pytest.mark.parametrize("rate", [None, 80.0])
def test_the_customer_reads_hours_only_where_the_shop_quotes_them_and_its_own_price(report, rate):
    results, models = report
    hours = hours_of([(2.0, 4.0)], planned_cc=1.0, other_ports=3, per_hour=rate)

    def second(quoted):
        made = results | {"hours": hours | {"quoted": quoted}}
        return " ".join(
            pypdfium2.PdfDocument(customer_pages(made, models, INCHES))[1].get_textpage().get_text_range().split()
        )

    assert "The other 3 ports" not in second(False)
    text = second(True)
    assert "This port took 2.0 h" in text and "The other 3 ports, cut the same, should take about 7.5 h" in text
    assert ("600.00 at 80.00 an hour" in text) == (rate is not None)
