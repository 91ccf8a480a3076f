"""The library runs on one numerical thread and gives the threads back."""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

from benchproof.trials.threads import single_threaded


def threads() -> set[int]:
    return {library["num_threads"] for library in threadpool_info()}


@single_threaded()
def inside() -> set[int]:
    return threads()


def test_one_thread_inside_and_all_of_them_afterwards() -> None:
    with threadpool_limits(limits=2):
        before = threads()
        with single_threaded():
            assert inside() == {1}
            assert threads() == {1}, "leaving an inner holder lifts nothing"
        assert threads() == before


def test_an_error_inside_gives_the_threads_back() -> None:
    before = threads()
    with pytest.raises(RuntimeError), single_threaded():
        raise RuntimeError
    assert threads() == before


CODE = """
import hashlib, datetime
import numpy as np
from benchproof.rig.calibration import calibrate
from benchproof.rig.instrument import Instrument, Occasion
from benchproof.trials.engine import Trials
from benchproof.trials.quantity import Quantity
days = dict(dated=datetime.date(2026, 2, 1), expires=datetime.date(2026, 8, 1))
x = np.linspace(0, 30, 60)
y = x + 0.003 * np.sin(9 * x) + 1e-5 * x**3
cell = Instrument("north", "cell", "thrust", (), calibrate(y, x, ["up"] * 60, key="c", **days))
occasion = Occasion("north", "campaign", "run", datetime.date(2026, 3, 2))
trials = Trials(1, 20_000)
rows = cell.true_trials(np.linspace(0, 30, 200), occasion, trials)
u = [Quantity(0.0, row, cell.parts(occasion, trials)).standard_uncertainty for row in rows[::50]]
print(hashlib.sha256(rows.tobytes() + np.array(u).tobytes()).hexdigest())
"""


def test_a_calibrated_curve_has_the_same_bytes_at_any_number_of_threads() -> None:
    digests = set()
    for number in ("1", "2", "4"):
        environment = {**os.environ, "OPENBLAS_NUM_THREADS": number, "OMP_NUM_THREADS": number}
        run = [sys.executable, "-c", CODE]
        digests.add(subprocess.run(run, capture_output=True, text=True, check=True, env=environment).stdout)
    assert len(digests) == 1


def test_results_come_through_the_decorator() -> None:
    @single_threaded()
    def product(a: float, *, b: float) -> float:
        return float(np.dot(a, b))

    assert product(2.0, b=3.0) == 6.0
