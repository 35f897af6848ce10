"""k of 400 colours against the proven optimum (HiGHS): `python tests/bench/palette_400.py`, some ten minutes.

Invented Lab values, 400 wishes with weights 0.2 to 1; prints the excess over the optimum and the processor time of a choice.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "palette"))

from test_locate import proven_optimum, table

from tint.palette.locate import locate


def main() -> None:
    print("seed  k   over optimum   choice ms")
    for seed in range(3):
        cost = table(seed, 400)
        for k in (4, 8, 12, 20):
            spent = []
            for _ in range(3):
                begun = time.thread_time()
                chosen = locate(cost, k)
                spent.append(time.thread_time() - begun)
            over = cost[:, chosen].min(axis=1).sum() / proven_optimum(cost, k) - 1
            print(f"{seed:4d} {k:2d} {np.round(100 * over, 2):11.2f} % {1e3 * min(spent):10.1f}", flush=True)


if __name__ == "__main__":
    main()
