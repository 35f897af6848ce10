"""Which patches are held out together, and the plain baselines a model has to beat on them."""

from __future__ import annotations

import warnings

import numpy as np

PLAIN_LENGTHS = (0.5, 0.2)  # starts of the plain process's lengths, of the box: from one alone it sometimes finds nothing
PLAIN_ROWS = 120  # patches its lengths are found on; more cost seconds and change nothing
BASELINES = ("mean colour", "nearest patch", "degree-2 polynomial", "plain Gaussian process")


def folds(table: np.ndarray, count: int, seed: int) -> np.ndarray:
    """Fold number (n,) of each setting of a table (n, f); equal settings share a fold, so none is held out from its twin."""
    _, group = np.unique(np.nan_to_num(table, nan=-1e9), axis=0, return_inverse=True)
    group = group.ravel()
    number = np.random.default_rng(seed).permutation(np.arange(group.max() + 1) % count)
    return number[group]


def fold_count(n: int) -> int:
    """Folds for n patches: more where each patch is dear."""
    return 6 if n < 40 else 5


def baseline(name: str, x: np.ndarray, y: np.ndarray, fold: np.ndarray) -> np.ndarray:
    """Held-out Lab (n, 3) of a baseline on log settings x (n, d), scaled to the box, of Lab y (n, 3) by folds (n,).

    The plain process finds its hyperparameters on all patches, which flatters it.
    """
    out = np.empty_like(y)
    kernel = _plain_kernel(x, y) if name == "plain Gaussian process" else None
    for k in np.unique(fold):
        here = fold == k
        out[here] = baseline_predict(name, x[~here], y[~here], x[here], kernel)
    return out


def baseline_predict(name: str, x: np.ndarray, y: np.ndarray, at: np.ndarray, kernel: object = None) -> np.ndarray:
    """Lab (q, 3) at log settings (q, d) of a baseline trained on x (n, d), y (n, 3)."""
    if name == "mean colour":
        return np.repeat(y.mean(axis=0)[None], len(at), axis=0)
    if name == "nearest patch":
        return y[((at[:, None, :] - x[None, :, :]) ** 2).sum(axis=-1).argmin(axis=1)]
    if name == "degree-2 polynomial":
        from sklearn.linear_model import LinearRegression
        from sklearn.pipeline import make_pipeline
        from sklearn.preprocessing import PolynomialFeatures

        return make_pipeline(PolynomialFeatures(2), LinearRegression()).fit(x, y).predict(at)
    from sklearn.gaussian_process import GaussianProcessRegressor

    kernel = _plain_kernel(x, y) if kernel is None else kernel
    return GaussianProcessRegressor(kernel, optimizer=None, normalize_y=True).fit(x, y).predict(at)


def _plain_kernel(x: np.ndarray, y: np.ndarray) -> object:
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel

    found, every = [], -(-len(x) // PLAIN_ROWS)  # rows are sorted by setting: take some of everywhere
    for length in PLAIN_LENGTHS:
        kernel = ConstantKernel(1.0, (1e-2, 1e3)) * RBF(np.full(x.shape[1], length), (0.03, 30)) + WhiteKernel(1e-2, (1e-5, 1))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a length at its bound is no news for a baseline
            found.append(GaussianProcessRegressor(kernel, normalize_y=True).fit(x[::every], y[::every]))
    return max(found, key=lambda fitted: fitted.log_marginal_likelihood_value_).kernel_
