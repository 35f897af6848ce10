"""Members: the regressions a colour model is made of, made ready from plain numbers and the patches.

`ready` does so after a fit and after reading a model file alike, which is why both predict the same to the last digit.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

import numpy as np

from tint.model.film_gp import ready_film
from tint.model.process_gp import ready_process
from tint.model.training import Training
from tint.setting import Machine, Setting

# kind in a model file -> the words for it
KINDS = {"film": "film colour of latent heat + Gaussian process", "process": "Gaussian process on process quantities"}


class Ready(Protocol):
    """A member conditioned on its data."""

    def predict(self, setting: Setting) -> tuple[np.ndarray, np.ndarray]:
        """Lab (q, 3) and standard deviations (q, 3) of settings (q,)."""
        ...


def ready(kind: str, numbers: dict[str, Any], training: Training, machine: Machine) -> Ready:
    """The member of that kind, conditioned on its training data."""
    make: dict[str, Callable[..., Ready]] = {"film": ready_film, "process": ready_process}
    return make[kind](numbers, training, machine)
