"""The Gaussian process against scikit-learn's, an independent implementation, and its gradient against differences."""

from __future__ import annotations

import numpy as np
import pytest

from tint.model import gp


@pytest.fixture
def data() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(4)
    x = rng.normal(size=(40, 3))
    y = np.stack([np.sin(x[:, 0]) + x[:, 1], np.cos(x @ [1, 0.5, 0]), x[:, 2] * x[:, 0]], axis=1) * [3, 5, 2] + [50, 0, 7]
    return x, y + rng.normal(0, 0.05, y.shape), rng.uniform(0.5, 3, 40)


def test_mean_and_deviation_agree_with_scikit_learn(data):
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern

    x, y, noise = data
    kernel = gp.Kernel(np.log([1.2, 2.0, 0.8]), np.log(0.01))
    fitted = gp.condition(x, y, noise, kernel)
    at = np.random.default_rng(1).normal(size=(25, 3))
    mean, sd = fitted.predict(at)
    for k in range(3):
        power = fitted.amplitude[k] ** 2
        theirs = GaussianProcessRegressor(
            ConstantKernel(power) * Matern(np.exp(kernel.log_reach), nu=2.5), alpha=power * (0.01 * noise + 1e-10), optimizer=None
        ).fit(x, y[:, k] - fitted.mean[k])
        their_mean, their_sd = theirs.predict(at, return_std=True)
        assert mean[:, k] - fitted.mean[k] == pytest.approx(their_mean, abs=1e-6)
        assert sd[:, k] == pytest.approx(their_sd, rel=1e-5)


def test_leaving_one_out_agrees_with_leaving_it_out(data):
    x, y, noise = data
    kernel = gp.Kernel(np.log([1.2, 2.0, 0.8]), np.log(0.01))
    fitted = gp.condition(x, y, noise, kernel)
    residual, _ = fitted.leave_one_out()
    for i in (0, 7, 33):
        rest = np.arange(40) != i
        scaled = x / np.exp(kernel.log_reach)
        correlation, own = (gp.correlation(part, scaled[rest]) for part in (scaled[[i]], scaled[rest]))
        weights = np.linalg.solve(own + np.diag(0.01 * noise[rest]), y[rest] - fitted.mean)  # the mean of all is kept
        assert y[i] - (fitted.mean + correlation @ weights)[0] == pytest.approx(residual[i], abs=1e-5)


def test_the_gradient_of_the_loss_is_that_of_finite_differences(data):
    x, y, noise = data
    theta = np.array([0.2, 0.7, -0.1, -4.0])
    _, gradient = gp._loss(theta, x, y, noise)
    for k in range(4):
        move = 1e-5 * np.eye(4)[k]
        theirs = (gp._loss(theta + move, x, y, noise)[0] - gp._loss(theta - move, x, y, noise)[0]) / 2e-5
        assert gradient[k] == pytest.approx(theirs, rel=1e-4, abs=1e-4)


def test_a_fit_finds_which_input_does_nothing():
    rng = np.random.default_rng(0)
    x = rng.normal(size=(60, 2))
    y = np.repeat(np.sin(2 * x[:, :1]), 3, axis=1) + rng.normal(0, 0.02, (60, 3))
    kernel = gp.fit_kernel(x, y, np.ones(60))
    assert kernel.log_reach[1] > kernel.log_reach[0] + 1
