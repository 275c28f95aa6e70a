"""Learning curves: what the two forms share, and the floor of a ramp."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipdecide.shop import learning


def test_the_same_eighty_per_cent_twice():
    """Unit 2 takes 60 h by Wright's average (160 - 100) and 80 h by Crawford's unit."""
    assert learning.total_of(2, 100, 0.8) - learning.total_of(1, 100, 0.8) == pytest.approx(60)
    assert learning.unit_time(2, 100, 0.8) == pytest.approx(80)


@given(st.floats(0.5, 0.99), st.integers(1, 500))
def test_each_doubling(rate, units):
    for form in (learning.average_of, learning.unit_time):
        assert form(2 * units, 10.0, rate) == pytest.approx(rate * form(units, 10.0, rate))


def test_nothing_learned():
    assert learning.unit_time(50, 7.0, 1.0) == 7.0
    assert learning.ramp(1.0, 0.8) == learning.Ramp(1.0, 0.0)
    with pytest.raises(ValueError, match="never reached"):
        learning.ramp(1.5, 1.0)
    with pytest.raises(ValueError, match="80 % is 0.8"):
        learning.average_of(2, 1.0, 80)


def test_a_ramp_is_the_sum_over_its_floor():
    """Batch by batch, never under the standard time."""
    times = [max(1.6 * n ** (np.log(0.85) / np.log(2)), 1.0) for n in range(1, 60)]
    assert learning.ramp(1.6, 0.85).extra == pytest.approx(sum(times) - 59)
