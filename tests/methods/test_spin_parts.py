"""What flywheel runs rest on: local polynomials, windows, marks, discs and pendulums, against published values."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from benchproof.methods.spin import inertia, local
from benchproof.methods.spin.choice import CLOSE, CORNER, LARGEST_NOISE, choose
from benchproof.methods.spin.discs import MATERIALS, disc_windage, peak_stress, stored_energy
from benchproof.methods.spin.local import Signal, half_widths, local_fits, noise_variance
from benchproof.methods.spin.marks import count_turns, mark_rows
from simulator.physics import RPM

REFERENCE = Path(__file__).parents[1] / "reference" / "savitzky_golay"


def smoothing_rows():
    with (REFERENCE / "smoothing.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            half = int(row["m_half"])
            side = [float(row[f"C{k}"]) for k in range(half + 1)]
            yield half, np.array([*side[:0:-1], *side]) / float(row["norm"])


def uniform(half: int, degree: int, derivative: int):
    points = np.arange(2.0 * half + 1)
    return local_fits(Signal(points, points**2, degree, derivative), half, half)


@pytest.mark.parametrize(("half", "weights"), list(smoothing_rows()))
def test_on_uniform_stamps_the_level_has_the_weights_of_savitzky_and_golay(half: int, weights: np.ndarray) -> None:
    """Savitzky and Golay: Analytical Chemistry 36 (1964) 1627, as printed in a public table."""
    np.testing.assert_allclose(uniform(half, 2, 0).row[0], weights, atol=1e-12)


@pytest.mark.parametrize(("half", "norm"), [(2, 10), (3, 28), (4, 60)])
def test_on_uniform_stamps_the_slope_has_the_weights_of_steinier(half: int, norm: float) -> None:
    """Steinier: Analytical Chemistry 44 (1972) 1906, quadratic first derivative [from memory]."""
    np.testing.assert_allclose(uniform(half, 2, 1).row[0], np.arange(-half, half + 1) / norm, atol=1e-12)


def test_the_cubic_slope_over_five_points(monkeypatch: pytest.MonkeyPatch) -> None:
    """Steinier: (1, -8, 0, 8, -1) / 12 [from memory]."""
    monkeypatch.setattr(local, "FEWEST_SPARE", 1)
    np.testing.assert_allclose(uniform(2, 3, 1).row[0], np.array([1, -8, 0, 8, -1]) / 12, atol=1e-12)


@pytest.mark.parametrize(("degree", "factor"), [(2, 12.0), (3, 75.2)])
def test_noise_of_the_slope_falls_with_the_cube_of_the_rows(degree: int, factor: float) -> None:
    """Recomputed: 12.0 / N^3 for a parabola and 75.2 / N^3 for a cubic at N = 51."""
    assert uniform(25, degree, 1).gain[0] * 51**3 == pytest.approx(factor, rel=2e-3)


def test_stamps_need_not_be_uniform() -> None:
    rng = np.random.default_rng(1)
    time = np.sort(rng.uniform(0, 1, 40))
    fit = local_fits(Signal(time, 3 + 2 * time - 5 * time**2 + 7 * time**3, 3, 1), 0.5, 0.3)
    assert fit.value[0] == pytest.approx(2 - 5 + 21 * 0.25, rel=1e-9)


def test_weights_of_an_integral_are_those_of_its_trapezoids() -> None:
    rng = np.random.default_rng(2)
    time = np.sort(rng.uniform(0, 1, 60))
    shape = 1 + time**2
    once = np.concatenate([[0], np.cumsum(np.diff(time) * (shape[1:] + shape[:-1]) / 2)])
    twice = np.concatenate([[0], np.cumsum(np.diff(time) * (once[1:] + once[:-1]) / 2)])
    for times, integral in ((1, once), (2, twice)):
        # Windows of unlike lengths side by side.
        fits = local_fits(Signal(time, integral, 3 + times, times), [0.5, 0.4, 0.6], [0.25, 0.2, 0.3])
        found = (fits.weights(time, times) * fits.inside(shape)).sum(axis=1)
        np.testing.assert_allclose(found, fits.of(integral), rtol=1e-6)


def test_fits_at_many_moments_are_those_made_one_by_one() -> None:
    """numpy.polyfit is another implementation; windows have unlike numbers of rows, one has too few."""
    rng = np.random.default_rng(3)
    time = np.sort(rng.uniform(0, 1, 80))
    signal = Signal(time, np.sin(5 * time) + 0.01 * rng.standard_normal(80), 3, 1)
    at, half = np.array([0.3, 0.5, 0.7, 0.55]), np.array([0.1, 0.25, 0.2, 0.02])
    fits = local_fits(signal, at, half)
    for k in range(3):
        inside = np.abs(time - at[k]) <= half[k]
        coefficients, rest, *_ = np.polyfit(time[inside] - at[k], signal.values[inside], 3, full=True)
        assert fits.value[k] == pytest.approx(coefficients[2], rel=1e-8)
        assert fits.before[k] == pytest.approx(coefficients[3], rel=1e-8)
        assert fits.scatter[k] == pytest.approx(rest[0] / (inside.sum() - 4), rel=1e-8)
        assert fits.gain[k] == pytest.approx((fits.row[k] ** 2).sum(), rel=1e-8)
    assert np.isnan(fits.value[3])
    assert fits.size[3] == 0


def chosen(curve, noise: float, seed: int):
    """Windows on a signal whose derivative is a curve of time, at 40 moments, 400 rows, white noise."""
    rng = np.random.default_rng(seed)
    time = np.linspace(0, 1, 400)
    exact = np.concatenate([[0], np.cumsum((curve(time[1:]) + curve(time[:-1])) / 2 * np.diff(time))])
    signal = Signal(time, exact + noise * rng.standard_normal(400), 3, 1)
    widths, moments = half_widths(signal.spacing, 0.5, 3), np.linspace(0.1, 0.9, 40)
    room = np.minimum(moments, 1 - moments)
    fits = [local_fits(signal, np.where(width <= room, moments, np.nan), width) for width in widths]
    values = np.column_stack([each.value for each in fits])
    variances = np.column_stack([each.gain for each in fits]) * noise**2
    return choose(values, np.where(np.isfinite(values), variances, np.nan), moments, widths), widths


def test_noise_alone_chooses_no_narrow_window() -> None:
    """Constant acceleration has no bias: half of the widths are one step below the widest, and few are far from it."""
    widths_taken, pulls = [], []
    for seed in range(40):
        choice, widths = chosen(lambda t: np.full(t.shape, 1.0), 1e-4, seed)
        middle = slice(15, 25)
        widths_taken += list(widths[choice.rung[middle]])
        pulls += list((choice.value[middle] - 1) / np.sqrt(choice.variance[middle] + choice.bias[middle] ** 2))
    assert np.median(widths_taken) > 0.15
    assert np.mean(np.array(widths_taken) < 0.07) < 0.03
    assert 0.7 < np.std(pulls) < 1.1


def test_at_a_corner_the_width_of_the_window_stands_for_its_bias() -> None:
    """The curve falls from 1 at a corner; what the window does there lies inside what is stated for it."""
    inside, moved = [], []
    for seed in range(60):
        choice, _ = chosen(lambda t: 1 - 1.5 * np.maximum(t - 0.5, 0), 2e-4, seed)
        corner = slice(18, 22)
        off = choice.value[corner] - (1 - 1.5 * np.maximum(np.linspace(0.1, 0.9, 40)[corner] - 0.5, 0))
        inside += list(np.abs(off) <= 1.96 * np.sqrt(choice.variance[corner] + choice.bias[corner] ** 2))
        moved += list(off)
    assert np.mean(inside) > 0.92
    assert abs(np.mean(moved)) < 0.02


@pytest.mark.parametrize(("degree", "derivative"), [(3, 1), (4, 2), (2, 0)])
def test_around_a_corner_bias_and_difference_of_windows_have_the_stated_ratio(degree: int, derivative: int) -> None:
    """An exact corner, integrated as often as its derivative is wanted: root mean squares over the close moments."""
    time = np.linspace(-3, 3, 6001)
    values = np.maximum(time, 0)
    for _ in range(derivative):
        values = np.concatenate([[0], np.cumsum((values[1:] + values[:-1]) / 2 * np.diff(time))])
    signal, at = Signal(time, values, degree, derivative), np.linspace(-CLOSE, CLOSE, 71) * local.GROWTH
    narrow, wide = (local_fits(signal, at, width).value for width in (1.0, local.GROWTH))
    bias = narrow - np.maximum(at, 0)
    ratio = np.sqrt(np.mean(bias**2) / np.mean((wide - narrow) ** 2))
    assert 0.95 * CORNER < ratio < 1.005 * CORNER
    assert bias[35] == pytest.approx(2 * (wide - narrow)[35], rel=0.01)


def test_one_narrow_window_off_by_chance_seldom_rules_out_all_wider_ones() -> None:
    """On 300 curves of noise alone fewer than one moment in a hundred takes a window under half of the usual one."""
    noisy = []
    for seed in range(300):
        choice, widths = chosen(lambda t: np.full(t.shape, 1.0), 1e-4, seed)
        middle = slice(15, 25)
        noisy += list(widths[choice.rung[middle]] < 0.12)
    assert np.mean(noisy) < 0.01


def test_windows_with_too_much_noise_are_none() -> None:
    choice, _ = chosen(lambda t: np.full(t.shape, 1.0), 0.03, 1)
    taken = choice.rung >= 0
    assert np.all(np.sqrt(choice.variance[taken]) <= LARGEST_NOISE * np.abs(choice.value[taken]))
    assert np.isnan(choice.value[~taken]).all()
    assert not taken.all()


def test_noise_is_read_from_the_residuals_without_a_lean() -> None:
    """White noise of 0.02: the variance of one row comes back, though each narrow window has few degrees of freedom."""
    found = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        time = np.arange(0, 2, 0.01)
        signal = Signal(time, 3 * time + 0.02 * rng.standard_normal(time.size), 3, 1)
        at = np.linspace(0.2, 1.8, 50)
        fits = [local_fits(signal, at, width) for width in half_widths(0.01, 0.2, 3)]
        arrays = [np.column_stack([getattr(each, name) for each in fits]) for name in ("size", "scatter", "together")]
        found.append(noise_variance(*arrays, 4).mean())
    assert np.mean(found) == pytest.approx(0.02**2, rel=0.06)


def test_inertia_of_discs_and_pendulums() -> None:
    """Recomputed: steel 60 x 5 mm, 4.994e-5; bifilar 0.111 kg, 0.05 m, 0.6 m, 1.31918 s, 5.000e-5 at 9.81 m/s2."""
    mass = 7850 * math.pi / 4 * 0.06**2 * 0.005
    assert inertia.annulus(mass, 0.06) == pytest.approx(4.994e-5, rel=1e-4)
    assert inertia.bifilar(0.111, 0.05, 1.31918, 0.6, 9.81) == pytest.approx(5.000e-5, rel=1e-4)
    # Three wires at a radius of half the separation are the same restoring torque as two.
    assert inertia.trifilar(0.111, 0.025, 1.31918, 0.6, 9.81) == pytest.approx(5.000e-5, rel=1e-4)


@pytest.mark.parametrize(("degrees", "longer"), [(10, 0.0019), (20, 0.0077), (30, 0.0174)])
def test_wide_swings_last_longer(degrees: float, longer: float) -> None:
    """Exact integral of the pendulum: 0.19, 0.77 and 1.74 % at 10, 20 and 30 deg (amplitude squared over 16 nearly)."""
    assert 1 / inertia.small_swing(1.0, math.radians(degrees)) - 1 == pytest.approx(longer, abs=6e-5)


def test_stress_and_energy_of_a_steel_disc() -> None:
    """Recomputed: a small hole in 60 mm of steel at 30 000 rpm, 57.4 MPa; half of it solid; 5e-5 kg m2 hold 247 J."""
    steel, speed = MATERIALS["steel"], 30_000 * RPM
    assert peak_stress(steel, 0.06, 1e-9, speed) / 1e6 == pytest.approx(57.4, abs=0.05)
    assert peak_stress(steel, 0.06, 0.0, speed) / 1e6 == pytest.approx(28.7, abs=0.03)
    assert stored_energy(5e-5, speed) == pytest.approx(247, abs=0.5)


@pytest.mark.parametrize(
    ("rpm", "faces", "rim"), [(10_000, 0.25e-3, 0.08e-3), (20_000, 0.70e-3, 0.33e-3), (30_000, 1.28e-3, 0.75e-3)]
)
def test_windage_of_a_disc_of_60_mm(rpm: float, faces: float, rim: float) -> None:
    """Recomputed from Schlichting's free disc [from memory], radius 30 mm, thickness 5 mm."""
    found = disc_windage(rpm * RPM, 0.06, 0.005, 1.2, 1.81e-5)
    assert found[0] == pytest.approx(faces, abs=0.01e-3)
    assert found[1] == pytest.approx(rim, abs=0.01e-3)


def test_laminar_windage_is_that_of_bird_stewart_and_lightfoot() -> None:
    """Transport Phenomena, problem of the rotating disc [from memory]: 0.616 pi rho r^4 (nu w^3)^0.5."""
    w, r, rho, mu = 2000.0, 0.03, 1.2, 1.81e-5
    expected = 0.616 * math.pi * rho * r**4 * (mu / rho * w**3) ** 0.5
    assert disc_windage(w, 2 * r, 0.005, rho, mu)[0] == pytest.approx(expected, rel=2e-3)


def marks(turns: int = 60, alpha: float = 4000.0) -> np.ndarray:
    return np.sqrt(4 * np.pi * np.arange(1, turns) / alpha)


def test_missed_marks_are_bridged_and_double_ones_left_out() -> None:
    whole = marks()
    damaged = np.sort(np.append(np.delete(whole, [20, 41]), [whole[30] + 0.3 * (whole[31] - whole[30])]))
    turns = count_turns(damaged, np.arange(damaged.size))
    assert (turns.missing, turns.extra) == (2, 1)
    np.testing.assert_allclose(turns.angle[-1], 2 * np.pi * (whole.size - 1))
    kept = damaged[turns.rows]
    np.testing.assert_allclose(turns.angle, 2 * np.pi * (np.round(kept**2 * 4000 / (4 * np.pi)) - 1))


def test_marks_of_a_sampled_log_are_its_rises() -> None:
    assert mark_rows(np.array([0.0, 1, 1, 0, 0, 1, 0])).tolist() == [1, 5]
    assert mark_rows(np.ones(4)).tolist() == [0, 1, 2, 3]
