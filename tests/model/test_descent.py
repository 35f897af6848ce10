"""The latents' slopes and the search over many starts, on SIMULATED films made by the model's own equations."""

from __future__ import annotations

import numpy as np
import pytest

from tint.lab import delta_e00
from tint.model.descent import FILM_SCATTER, LEAST_SIGMA, Fits, Problem, constants_of, descend, easing, metric
from tint.model.latent import (
    Frame,
    drift_of,
    expectation,
    features,
    film_slopes,
    frame_of,
    latents,
    log_axes,
    unseen,
    widened,
)
from tint.model.optics import OPTICS_MEAN, colour, optics_of
from tint.setting import Setting


@pytest.fixture
def frame(machine) -> tuple[Frame, np.ndarray]:
    rng = np.random.default_rng(0)
    setting = Setting(rng.uniform(20, 45, 40), rng.uniform(500, 1500, 40), rng.uniform(200, 800, 40), 20, 0.003)
    logs = log_axes(setting, machine)
    return frame_of(logs), logs


def draw(frame: Frame, seed: int, waves: bool) -> np.ndarray:
    expected = expectation(frame, waves)
    theta = expected.mean + 0.3 * np.minimum(expected.sd, 1) * np.random.default_rng(seed).normal(
        size=(1, len(expected.mean))
    )
    return theta


def test_slopes_of_the_latents_are_those_of_finite_differences(frame):
    frame, logs = frame
    theta, columns, step = draw(frame, 1, True), features(frame, logs), 1e-6
    slopes = film_slopes(theta, columns)
    for k in range(columns[0].shape[1]):
        move = step * np.eye(theta.shape[1])[[k]]
        theirs = (latents(theta + move, columns) - latents(theta - move, columns))[..., 0] / (2 * step)
        assert slopes[0, :, k] == pytest.approx(theirs[0], abs=1e-6)


def test_waves_of_height_zero_change_nothing(frame):
    frame, logs = frame
    theta = draw(frame, 2, False)
    plain = latents(theta, features(frame, logs, waves=False))
    assert latents(widened(theta, frame), features(frame, logs)) == pytest.approx(plain, abs=1e-12)


def test_only_axes_that_varied_are_fitted_and_the_others_act_as_expected(frame):
    frame, logs = frame
    assert frame.axes.tolist() == [0, 1, 2]  # power, speed, frequency
    theta = draw(frame, 3, True)[0]
    theta[1] += 1.6 - drift_of(frame, theta)[1]  # power acts as expected
    wider = logs.copy()
    wider[:, 4] += np.log(2)  # twice the line spacing: less film, and unsure of it
    shift, variance = unseen(frame, wider, theta)
    assert shift[:, 0] == pytest.approx(-0.6 * np.log(2)) and (variance[:, 0] > 0).all()
    assert np.abs(unseen(frame, logs, theta)[0]).max() < 1e-12


def test_many_starts_find_the_film_a_known_set_of_parameters_made(frame):
    frame, logs = frame
    columns, expected, optics = (
        features(frame, logs, waves=False),
        expectation(frame, waves=False),
        optics_of("austenitic steel"),
    )
    truth = expected.mean.copy()
    truth[0] += 0.4
    lab = colour(optics, latents(truth[None], columns), constants_of(truth[None]))[0]
    problem = Problem(optics, columns, lab, np.ones(len(lab)), expected)
    rng = np.random.default_rng(0)
    starts = np.repeat(expected.mean[None], 16, axis=0)
    starts[:, 0] = rng.uniform(3.2, 5.5, 16)
    fits = descend(problem, Fits(starts, np.zeros(16), np.full(16, 5.0)), 30)
    found = colour(optics, latents(fits.theta[:1], columns), constants_of(fits.theta[:1]))[0]
    assert np.median(delta_e00(found, lab)) < 0.3
    assert fits.cost[0] == fits.cost.min()


def test_the_metric_gives_small_differences_in_de00():
    rng = np.random.default_rng(1)
    lab = np.array([[60.0, 25, 10], [40, -15, 20], [75, 5, 30]])
    step = rng.normal(0, 0.2, (200, 3, 3))
    ours = np.linalg.norm(np.einsum("nij,snj->sni", metric(lab), step), axis=-1)
    assert np.median(ours / delta_e00(lab + step, lab)) == pytest.approx(1, abs=0.1)


def test_errors_along_the_film_are_eased_to_their_scatter():
    slope = np.array([[0.0, 120.0, 0.0]])  # 1 % of film is 1.2 ΔE00 here
    along = easing(slope)[0]
    error = np.array([0.5, 2.0, -0.3])
    eased = error - along * (along @ error)
    assert eased[[0, 2]] == pytest.approx(error[[0, 2]])
    assert eased[1] == pytest.approx(2.0 * LEAST_SIGMA / np.hypot(LEAST_SIGMA, FILM_SCATTER * 120))


def test_drift_sits_after_the_second_order_terms(frame):
    frame, logs = frame
    aged = np.linspace(0, 1, 40)[:, None]
    plain, with_age = features(frame, logs, False), features(frame, logs, False, aged)
    place, _ = drift_of(frame, expectation(frame, False).mean)
    assert with_age[0].shape[1] == plain[0].shape[1] + 1
    assert with_age[0][:, place] == pytest.approx(aged[:, 0])
    assert len(expectation(frame, False, 1).mean) == len(expectation(frame, False).mean) + 1
    assert len(OPTICS_MEAN) == 11
