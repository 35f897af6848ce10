"""Members: the regressions a colour model is made of. Each is fitted to patches and keeps plain numbers only.

A member's numbers and the patches are enough to make it ready again: `ready` does so after a fit and after reading a
model file alike, which is why both predict the same to the last digit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from tint.model import gp
from tint.model.quantities import log_quantities
from tint.setting import Machine, Setting

OUTLIER_Z = 4.5  # a patch this many robust standard deviations off, left out, is set aside as an outlier
OUTLIER_NOISE = 1e4  # noise variance of a patch set aside, over the usual: it no longer pulls, yet stays in the file
ROUNDS = 3  # rounds of fitting and setting aside; a third round hardly ever finds more


@dataclass(frozen=True, eq=False)
class Training:
    """What members learn from: settings (n,), their colours (n, 3) and relative noise variances (n,), 1 is usual."""

    setting: Setting
    lab: np.ndarray
    noise: np.ndarray

    def take(self, rows: np.ndarray) -> Training:
        """The rows at an index or mask."""
        return Training(self.setting[rows], self.lab[rows], self.noise[rows])


class Ready(Protocol):
    """A member conditioned on its data."""

    def predict(self, setting: Setting) -> tuple[np.ndarray, np.ndarray]:
        """Lab (q, 3) and standard deviations (q, 3) of settings (q,)."""
        ...


@dataclass(frozen=True, eq=False)
class ProcessGP:
    """Gaussian process on the logarithms of the process quantities."""

    machine: Machine
    centre: np.ndarray
    width: np.ndarray
    fitted: gp.FittedGP

    def predict(self, setting: Setting) -> tuple[np.ndarray, np.ndarray]:
        """Lab (q, 3) and standard deviations (q, 3) of settings (q,)."""
        return self.fitted.predict((log_quantities(setting, self.machine) - self.centre) / self.width)


def fit_process(training: Training, machine: Machine) -> dict[str, Any]:
    """Numbers of a `ProcessGP`; raises the noise of patches that the others contradict."""
    x = log_quantities(training.setting, machine)
    centre, width = x.mean(axis=0), x.std(axis=0)
    width = np.where(width > 1e-9, width, 1.0)
    scaled = (x - centre) / width
    noise, kernel = training.noise.copy(), None
    for _ in range(ROUNDS):
        kernel = gp.fit_kernel(scaled, training.lab, noise, kernel)
        fresh = outlying(gp.condition(scaled, training.lab, noise, kernel), training.lab, noise)
        if not fresh.any():
            break
        noise[fresh] *= OUTLIER_NOISE
    assert kernel is not None
    return {
        "centre": centre.tolist(), "width": width.tolist(), "log_reach": kernel.log_reach.tolist(),
        "log_nugget": kernel.log_nugget, "noise": noise.tolist(),
    }  # fmt: skip


def outlying(fitted: gp.FittedGP, y: np.ndarray, noise: np.ndarray) -> np.ndarray:
    """(n,) True for patches, not set aside before, that stand far from what all others say of their setting."""
    residual, sd = fitted.leave_one_out(y)
    size = np.sqrt(((residual / sd) ** 2).mean(axis=1))
    usual = max(float(np.median(size)), 1e-9)
    far = (size > OUTLIER_Z * usual) & (noise < OUTLIER_NOISE)
    if far.sum() > 0.1 * len(y):  # more than a tenth cannot all be accidents: take the farthest tenth
        far &= size >= np.quantile(size, 0.9)
    return far


def ready(kind: str, numbers: dict[str, Any], training: Training, machine: Machine) -> Ready:
    """The member of that kind, conditioned on its training data."""
    if kind != "process":
        raise KeyError(kind)
    centre, width = np.array(numbers["centre"], float), np.array(numbers["width"], float)
    kernel = gp.Kernel(np.array(numbers["log_reach"], float), float(numbers["log_nugget"]))
    x = (log_quantities(training.setting, machine) - centre) / width
    return ProcessGP(machine, centre, width, gp.condition(x, training.lab, np.array(numbers["noise"], float), kernel))
