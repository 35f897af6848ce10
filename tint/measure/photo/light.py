"""Light across a photograph and the camera's tone curve, from chart and bare metal together, whatever glare lies on some of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.errors import DataError

DISPLAY = 1 / 2.2  # exponent of a screen's scale, on which steps look about alike
CHART_SIGMA = 0.02  # how far a 3 × 3 matrix misses chart values, on that scale
BARE_SIGMA = 0.005  # unevenness of bare metal on that scale
# How far the step from bare metal to registration mark differs from mark to mark, as a logarithm: marks are dark, so that
# one a quarter darker than another changes the step by 0.03; blur by as much
CONTRAST_SIGMA = 0.03
LEAST_CONTRAST = 0.4  # of bare metal: lighter marks say little
LEAST_CONTRASTS = 3  # marks
# times as strong as one place: eight marks then outweigh bare metal, most of which may lie under a veil
CONTRAST_SHARE = 6.0
# of bare metal over its step, as a logarithm: marks that differ by less may be darker or more blurred
LEAST_VEIL = 0.06
TONE_SETTLED = 0.005  # what is left of TONE_SIGMA once chart and metal have told the tone curve
NO_TONE = np.zeros(2)
CLEAR_QUANTILE = 0.25  # of the marks, by how bright the metal about them is for its step: no glare lies on those
TONE_SIGMA = 0.04  # how far a camera's tone curve strays from the stated one, as exponent and as strength of an S-curve
# How far the light slopes and bends over half the picture, as a logarithm: rarely by more
SLOPE_SIGMA, BEND_SIGMA = 0.7, 0.25
# Light falls off from a bright place; it is hollow between two lamps only, and then less than this. A broad streak of glare
# beside the patches looks like more.
MOST_HOLLOW = 0.06
# Times the sigmas beyond which a place counts less, step by step; the light is straight in the first steps, because a broad
# streak of glare looks bent
COARSE_TO_FINE = (8.0, 4.0, 2.0, 2.0, 1.0, 1.0)
STRAIGHT_STEPS = 3
FAR = 2.5  # sigmas at which a place counts half
BRIGHT_DROPPED = (0.3, 0.5)  # shares of the bare metal left out at first, where glare may be broad
AGREED = 0.9  # share of the bare metal that agrees where no such doubt is
LEAST_PATCHES = 17  # of the chart: fewer do not hold 18 numbers


@dataclass(frozen=True, eq=False)
class Light:
    """Tone curve and light of a photograph.

    Parameters
    ----------
    tone : exponent (as a logarithm) and strength of an S-curve between amounts of light and the photo's values
    field : (6,) logarithm of the light as a polynomial of the second degree in place
    frame : middle x, y and half size [px] that places are counted in
    bare_rgb : (3,) bare metal under even light
    used : (24,) which chart patches agree with the others
    """

    tone: np.ndarray
    field: np.ndarray
    frame: np.ndarray
    bare_rgb: np.ndarray
    used: np.ndarray

    def at(self, px: np.ndarray) -> np.ndarray:
        """Light (...) at places (..., 2) [px], 1 in the middle of the chart."""
        return np.exp(_terms(px, self.frame) @ self.field)

    def evened(self, light1: np.ndarray, px: np.ndarray) -> np.ndarray:
        """Camera values (..., 3), linear and as if under even light, of what the profile takes for `light1` at `px`."""
        return _untoned(light1, self.tone) / self.at(px)[..., None]


@dataclass(frozen=True, eq=False)
class Evidence:
    """What a photograph shows of things known.

    Parameters
    ----------
    chart1 : (24, 3) values of the chart, linear as the profile has it, at `chart_px` (24, 2); `usable` (24,) not clipped
    xyz100 : (24, 3) reference values
    bare1 : (m, 3) values of bare metal at `bare_px` (m, 2); m may be 0
    size_px : width and height of the photograph
    marks1 : (k, 2, 3) values of bare metal about registration marks and of the marks, at `marks_px` (k, 2); k may be 0
    """

    chart1: np.ndarray
    chart_px: np.ndarray
    usable: np.ndarray
    xyz100: np.ndarray
    bare1: np.ndarray
    bare_px: np.ndarray
    size_px: tuple[int, int]
    marks1: np.ndarray
    marks_px: np.ndarray

    @property
    def frame(self) -> np.ndarray:
        """(3,) centre of the chart, x and y, and half the longer side of the photo [px]: what places are counted from and in."""
        return np.array([*self.chart_px.mean(axis=0), max(self.size_px) / 2])


def fit_light(evidence: Evidence) -> Light:
    """Light and tone curve of a photograph.

    Raises
    ------
    DataError
        Too few patches of the chart are usable, or look as they should.

    Notes
    -----
    One least-squares fit of 20 numbers: tone curve (2), light (5), bare metal (3), marks (1), camera as a 3 × 3 matrix (9). Each place
    counts by how near it is (as a Cauchy distribution has it), in steps from coarse to fine. A veil of glare as broad as
    the plate looks like light; the step from bare metal to registration mark does not see it, for it lies on both. Where
    bare metal is brighter for that step about some marks than about others, the fit is made again with the marks.
    """
    usable = evidence.usable
    if usable.sum() < LEAST_PATCHES:
        raise DataError(
            f"only {int(usable.sum())} of 24 chart patches are neither clipped nor hidden; {LEAST_PATCHES} are needed. "
            "Expose so that white stays below its limit."
        )
    problem = _Problem.of(evidence)
    bare = evidence.bare1
    best = problem.settled(usable.astype(float), np.ones(len(bare)))
    for dropped in BRIGHT_DROPPED if best[0] < AGREED * len(bare) else ():
        # a broad streak of glare can pass for light: start again without the brightest metal, keep what most agrees on
        dim = bare.mean(axis=1) <= np.quantile(bare.mean(axis=1), 1 - dropped)
        best = max(best, problem.settled(usable.astype(float), dim.astype(float)), key=lambda one: one[0])
    if (steps := problem.veiled(best[1][:2])) is not None:
        best = problem.settled(usable.astype(float), np.ones(len(bare)), best[1][:2], steps)
    _, numbers, chart_away = best
    used = usable & (chart_away < max(5.0, 4.5 * float(np.median(chart_away[usable]))))
    if used.sum() < LEAST_PATCHES:
        raise DataError(
            f"only {int(used.sum())} of 24 chart patches look as the stated edition should; "
            "is glare or a shadow on the chart, or is it another chart?"
        )
    tone, field, bare_log, _, _ = _parted(numbers)
    return Light(tone, field, evidence.frame, np.exp(bare_log), used)


def _parted(numbers: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, float, np.ndarray]:
    """Tone (2,), field (6,), logarithms of bare metal (3,) and of its step to a mark, camera (3, 3) of the 20 numbers."""
    light = np.concatenate([[0], numbers[2:7]])
    return numbers[:2], light, numbers[7:10], float(numbers[10]), numbers[11:].reshape(3, 3)


@dataclass(frozen=True, eq=False)
class _Steps:
    """Logarithms of what bare metal sends more than each mark on it (k,), and of bare metal over that where no glare lies."""

    step_log: np.ndarray
    clear_log: float


@dataclass(frozen=True, eq=False)
class _Problem:
    """The least-squares problem: what is seen on a screen's scale, and the terms of light there."""

    evidence: Evidence
    chart_terms: np.ndarray
    bare_terms: np.ndarray
    step_terms: np.ndarray
    chart_seen: np.ndarray
    bare_seen: np.ndarray
    marks1: np.ndarray  # those that are dark enough

    @classmethod
    def of(cls, evidence: Evidence) -> _Problem:
        bright, dark = np.moveaxis(evidence.marks1.mean(axis=2), 1, 0)
        use = bright - dark > LEAST_CONTRAST * bright
        use &= use.sum() >= LEAST_CONTRASTS
        places = (evidence.chart_px, evidence.bare_px, evidence.marks_px[use])
        chart, bare, steps = (_terms(px, evidence.frame) for px in places)
        chart_seen, bare_seen = (np.maximum(part, 0) ** DISPLAY for part in (evidence.chart1, evidence.bare1))
        return cls(evidence, chart, bare, steps, chart_seen, bare_seen, evidence.marks1[use])

    def misses(self, numbers: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Misses of chart (24, 3) and bare metal (m, 3), in sigmas."""
        tone, field, bare_log, _, camera = _parted(numbers)
        lit = np.exp(self.chart_terms @ field)[:, None]
        chart = _toned((self.evidence.xyz100 / 100 @ camera) * lit, tone) - self.chart_seen
        bare = _toned(np.exp(bare_log + (self.bare_terms @ field)[:, None]), tone) - self.bare_seen
        return chart / CHART_SIGMA, bare / BARE_SIGMA

    def veiled(self, tone: np.ndarray) -> _Steps | None:
        """The steps from bare metal to marks, where they tell that a veil of glare lies on some of them; else None."""
        if not len(self.marks1):
            return None
        bright, dark = np.moveaxis(_untoned(self.marks1, tone).mean(axis=2), 1, 0)
        step_log = np.log(np.maximum(bright - dark, 1e-4))
        brighter = np.log(np.maximum(bright, 1e-4)) - step_log
        clear = float(np.quantile(brighter, CLEAR_QUANTILE))
        return _Steps(step_log, clear) if brighter.max() > clear + LEAST_VEIL else None

    def residuals(
        self, numbers: np.ndarray, trusts: tuple[np.ndarray, ...], bend: float, tone: np.ndarray, steps: _Steps | None
    ) -> np.ndarray:
        """What least squares are sought of; `trusts` of chart, bare metal and marks."""
        chart, bare = self.misses(numbers)
        share = 1 / max(1.0, np.sqrt(len(bare) / 24))  # many places of bare metal weigh no more than the chart together
        prior = (
            (numbers[:2] - tone) / (TONE_SIGMA if steps is None else TONE_SETTLED),
            numbers[2:4] / SLOPE_SIGMA,
            numbers[4:7] / bend,
            1e-3 * numbers[7:11],
        )
        known = [(chart * trusts[0][:, None]).ravel(), (bare * trusts[1][:, None] * share).ravel(), *prior]
        if steps is not None:
            metal = np.log(np.exp(numbers[7:10]).mean()) - numbers[10] - steps.clear_log
            step = self.step_misses(numbers, steps)
            known += [CONTRAST_SHARE * step * trusts[2], [CONTRAST_SHARE * metal / CONTRAST_SIGMA]]
        return np.concatenate(known)

    def step_misses(self, numbers: np.ndarray, steps: _Steps) -> np.ndarray:
        """Misses of the steps from bare metal to marks (k,), in sigmas."""
        return (numbers[10] + self.step_terms @ _parted(numbers)[1] - steps.step_log) / CONTRAST_SIGMA

    def settled(
        self,
        chart_trust: np.ndarray,
        bare_trust: np.ndarray,
        tone: np.ndarray = NO_TONE,
        steps: _Steps | None = None,
    ) -> tuple[float, np.ndarray, np.ndarray]:
        """How much of the bare metal agrees in the end, the 20 numbers, and how far off each chart patch is (24,)."""
        from scipy.optimize import least_squares

        usable, bare1 = self.evidence.usable, self.evidence.bare1
        camera = np.linalg.lstsq(self.evidence.xyz100[usable] / 100, self.evidence.chart1[usable], rcond=None)[0]
        bare = np.log(np.maximum(np.median(bare1[bare_trust > 0], axis=0), 1e-3)) if len(bare1) else np.zeros(3)
        step_log = 0.0 if steps is None else float(np.median(steps.step_log))
        numbers = np.concatenate([tone, np.zeros(5), bare, [step_log], camera.ravel()])
        trusts = (chart_trust, bare_trust, np.ones(len(self.step_terms)))
        most = np.full(len(numbers), np.inf)
        most[[4, 6]] = MOST_HOLLOW
        for number, wide in enumerate(COARSE_TO_FINE):
            bend = 1e-4 if number < STRAIGHT_STEPS else BEND_SIGMA
            start, args = np.minimum(numbers, most - 1e-6), (trusts, bend, tone, steps)
            numbers = least_squares(self.residuals, start, bounds=(-np.inf, most), max_nfev=8, args=args).x
            # what lies far off at this step (glare, shade, a finger) hardly counts at the next
            chart_away, bare_away = (np.sqrt(np.mean(part**2, axis=1)) for part in self.misses(numbers))
            step_away = trusts[2] * 0 if steps is None else self.step_misses(numbers, steps)
            near = [1 / (1 + (away / (FAR * wide)) ** 2) for away in (chart_away, bare_away, step_away)]
            trusts = (usable * near[0], near[1], near[2])
        return float(trusts[1].sum()), numbers, chart_away


def _terms(px: np.ndarray, frame: np.ndarray) -> np.ndarray:
    x, y = np.moveaxis((np.asarray(px) - frame[:2]) / frame[2], -1, 0)
    return np.stack([np.zeros_like(x), x, y, x * x, x * y, y * y], axis=-1)


def _toned(light: np.ndarray, tone: np.ndarray) -> np.ndarray:
    """Values on a screen's scale of amounts of light: the stated curve, an exponent and an S on top."""
    u = np.clip(light, 1e-6, 1.5) ** (DISPLAY * np.exp(tone[0]))
    return u - tone[1] * np.sin(2 * np.pi * np.minimum(u, 1)) / (2 * np.pi)


def _untoned(light1: np.ndarray, tone: np.ndarray) -> np.ndarray:
    """Amounts of light of values that are linear as the profile has it."""
    if not tone.any():
        return np.asarray(light1, dtype=float)
    steps = np.linspace(0, 1.1, 1500) ** 2.2
    return np.interp(np.maximum(light1, 0) ** DISPLAY, np.maximum.accumulate(_toned(steps, tone)), steps)
