"""Clock positions as people write them; the half hour after twelve is one of them."""

from time import process_time

import pytest

from diagnose.casefile.clock import BadClock, arc, place


@pytest.mark.parametrize(
    ("written", "degrees"), [("12", 0), ("12:30", 15), ("3", 90), ("at 6:30", 195), ("11:45", 352.5), ("105°", 105)]
)
def test_places(written, degrees):
    assert place(written) == degrees


def test_an_arc_over_the_top():
    assert arc("11:30 to 12:30") == (345, 15)


@pytest.mark.parametrize("written", ["13", "14", "3:75", "400°"])
def test_what_stands_on_no_clock(written):
    with pytest.raises(BadClock):
        place(written)


@pytest.mark.parametrize("read", [place, arc])
def test_a_long_gap_in_it_takes_no_time(read):
    began = process_time()
    with pytest.raises(BadClock):
        read(f"5{' ' * 200_000}x")
    assert process_time() - began < 1


def test_gaps_say_nothing():
    assert arc(" 10   to\t2 ") == arc("10 to 2")
