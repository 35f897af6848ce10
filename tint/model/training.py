"""What members learn from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.setting import Setting


@dataclass(frozen=True, eq=False)
class Training:
    """Settings (n,), their colours (n, 3) and relative noise variances (n,), 1 is usual."""

    setting: Setting
    lab: np.ndarray
    noise: np.ndarray

    def take(self, rows: np.ndarray) -> Training:
        """The rows at an index or mask (n,)."""
        return Training(self.setting[rows], self.lab[rows], self.noise[rows])
