import numpy as np
import pytest
from matplotlib.figure import Figure

from ridelog.present.figure import NARROW, WIDE, TimeScale, time_axis

HOURS_16 = (214.0, 57_600.0)


def test_without_a_long_gap_the_axis_is_even() -> None:
    scale = TimeScale.of(10.0, 210.0, ((50.0, 55.0),))
    assert not scale.shortens and scale.shown_s == pytest.approx(200.0)
    assert scale.share(60.0, 110.0) == pytest.approx(0.25)


def test_a_gap_of_sixteen_hours_takes_a_small_part_of_the_axis() -> None:
    scale = TimeScale.of(0.0, 57_814.0, (HOURS_16,))
    assert scale.shortens
    assert 0.05 < scale.share(*HOURS_16) < 0.1
    # What was logged stays even and in order.
    assert scale.share(0.0, 107.0) == pytest.approx(scale.share(57_600.0, 57_707.0))
    assert (np.diff(scale.place(np.linspace(0.0, 57_814.0, 1000))) > 0.0).all()


@pytest.mark.parametrize("shape", [WIDE, NARROW])
def test_ticks_stand_where_something_was_logged(shape: object) -> None:
    axes = Figure().add_subplot()
    time_axis(axes, shape, 0.0, 57_814.0, named=True, gaps=(HOURS_16,))  # type: ignore[arg-type]
    ticks = axes.get_xticks()
    assert 3 <= len(ticks) <= 12
    assert all(not HOURS_16[0] < tick < HOURS_16[1] for tick in ticks)
    words = [axes.xaxis.get_major_formatter()(tick, 0) for tick in ticks]
    assert words[0] == "0:00" and any(word.startswith("16:0") for word in words)
    assert "long gaps are drawn short" in axes.get_xlabel()


def test_gaps_that_touch_the_ends_or_each_other_are_no_trouble() -> None:
    scale = TimeScale.of(0.0, 1000.0, ((0.0, 300.0), (300.0, 700.0)))
    assert (np.diff(scale.places) > 0.0).all() and (np.diff(scale.knots_s) > 0.0).all()
    assert scale.share(700.0, 1000.0) > 0.8
