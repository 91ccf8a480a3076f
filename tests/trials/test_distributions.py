"""Score tables against the library's own quantiles."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from benchproof.trials.distributions import score_table, spread_table


@pytest.mark.parametrize("count", [1000, 1001, 20_000])
@pytest.mark.parametrize("degrees", [1, 1.125, 2, 3.5, 10, 50, 240])
def test_tables_are_the_quantiles_of_t_and_of_chi_square(degrees: float, count: int) -> None:
    p = (np.arange(count) + 0.5) / count
    scores = score_table("student", degrees, count)
    np.testing.assert_allclose(scores, special.stdtrit(degrees, p), rtol=1e-9, atol=1e-12)
    assert np.array_equal(scores, -scores[::-1])
    chi_square = 2 * special.gammaincinv(degrees / 2, p)
    np.testing.assert_allclose(spread_table(degrees, count), np.sqrt(degrees / chi_square), rtol=1e-9)
