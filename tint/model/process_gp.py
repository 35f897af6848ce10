"""Member "process": a Gaussian process on the logarithms of the process quantities, with no physics in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from tint.model import gp
from tint.model.quantities import log_quantities
from tint.model.training import Training
from tint.setting import Machine, Setting


@dataclass(frozen=True, eq=False)
class ProcessGP:
    """The member, conditioned on its data; `centre` and `width` (q,) scale the logarithms of the process quantities."""

    machine: Machine
    centre: np.ndarray
    width: np.ndarray
    fitted: gp.FittedGP

    def predict(self, setting: Setting) -> tuple[np.ndarray, np.ndarray]:
        """Lab (q, 3) and standard deviations (q, 3) of settings (q,)."""
        return self.fitted.predict((log_quantities(setting, self.machine) - self.centre) / self.width)


def process_numbers(training: Training, machine: Machine, known: dict[str, Any] | None = None) -> dict[str, Any]:
    """Plain numbers of the member; a fit `known` of nearly the same data is a good place to start from."""
    x = log_quantities(training.setting, machine)
    centre, width = x.mean(axis=0), x.std(axis=0)
    width = np.where(width > 1e-9, width, 1.0)
    start = None if known is None else _kernel(known)
    kernel = gp.fit_kernel((x - centre) / width, training.lab, training.noise, start, steps=80 if known is None else 15)
    return {
        "centre": centre.tolist(), "width": width.tolist(), "log_reach": kernel.log_reach.tolist(), "log_nugget": kernel.log_nugget,
    }  # fmt: skip


def ready_process(numbers: dict[str, Any], training: Training, machine: Machine) -> ProcessGP:
    """The member of those numbers over its training set."""
    centre, width = np.array(numbers["centre"], float), np.array(numbers["width"], float)
    x = (log_quantities(training.setting, machine) - centre) / width
    return ProcessGP(machine, centre, width, gp.condition(x, training.lab, training.noise, _kernel(numbers)))


def _kernel(numbers: dict[str, Any]) -> gp.Kernel:
    return gp.Kernel(np.array(numbers["log_reach"], float), float(numbers["log_nugget"]))
