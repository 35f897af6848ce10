"""One thread for small matrices."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")


def one_thread(function: Callable[P, R]) -> Callable[P, R]:
    """The function, with linear algebra kept to one thread while it runs.

    Notes
    -----
    Fits, photographs, the check of a plate's places, the search of a gamut and tonal cells multiply many small matrices. Spread
    over cores they wait for each other more than they work: on two busy cores a fit took three times the processor time, a
    photograph four times, the check seven times.
    """

    @wraps(function)
    def alone(*args: P.args, **kwargs: P.kwargs) -> R:
        import scipy.linalg  # noqa: F401  (a library that loads later would come with threads of its own)
        from threadpoolctl import threadpool_limits

        with threadpool_limits(1, user_api="blas"):
            return function(*args, **kwargs)

    return alone
