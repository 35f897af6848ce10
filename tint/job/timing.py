"""What a machine spends between scan lines, found from jobs timed with a watch."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tint.errors import DataError
from tint.job.order import Timing, clock
from tint.job.record import Job, read_job
from tint.setting import Machine

WATCH_S, WATCH_SHARE = 1.0, 0.005  # a watch stopped by hand, and a plan's own time on; the larger of both (no source)
UNSURE_SHARE = 0.5  # a delay known no better than to this share of it is open ...
UNSURE_MS = (0.1, 1.0)  # ... unless it is known to this many ms, turn-round and jump: that shows in no job's time
# no mirror settles this slowly (common practice, no source): more is the watch, or a wait counted in
MOST_JUMP_MS = 250.0
JUMP_RANGE_MS = 2.0  # how far a jump's usual delay may be off (common practice, no source)
SMALLEST = 1e-9  # weighted lines or jumps below which a job holds none
SLACK_S = 1.0  # a job may be this much faster than its laser-on time before the watch is doubted


@dataclass(frozen=True)
class TimedJob:
    """A job and how long it really took.

    Parameters
    ----------
    job : as planned
    measured_s : time from first to last pulse, cooling waits and handling not counted [s]
    """

    job: Job
    measured_s: float


def read_timed(text: str) -> TimedJob:
    """Timed job from "FOLDER=TIME", such as "kingfisher-job=25:20".

    Raises
    ------
    DataError, FileError
        No "=", no time, or no job in the folder.
    """
    folder, mark, time = text.rpartition("=")
    if not (mark and folder):
        raise DataError(f"{text!r} is not a timed job; write its folder and its time, such as kingfisher-job=25:20.")
    return TimedJob(read_job(folder), seconds_of(time))


def timing_of(machine: Machine) -> Timing:
    """Timing as far as the machine states it; common practice for the rest, and `source` says which is which."""
    usual = Timing()
    stated = {name: getattr(machine, name) for name in ("turn_ms", "jump_ms") if getattr(machine, name) is not None}
    missing = [name for name in ("turn_ms", "jump_ms") if name not in stated]
    if not stated:
        source = usual.source
    else:
        source = f"{' and '.join(stated)} of {machine.name}" + (f", {missing[0]} {usual.source}" if missing else "")
    return Timing(**stated, jump_speed_mm_s=machine.jump_speed_mm_s, source=source)


def calibrated_timing(timed: Sequence[TimedJob], machine: Machine | None = None) -> Timing:
    """Timing that fits two or more timed jobs best, none of its delays negative.

    Parameters
    ----------
    machine : the machine it is meant for, to be told where the jobs were timed on another; None takes theirs

    Raises
    ------
    DataError
        Fewer than two jobs, jobs of different machines, a time shorter than the laser is on, or jobs too
        alike or too short to tell turn-rounds from jumps.

    Notes
    -----
    measured = scan + way of the jumps / their speed + turn_ms · lines + jump_ms · jumps, solved for both delays by least
    squares weighted by the watch's error (the larger of 1 s and 0.5 %), with no delay below 0. Standard errors follow from
    the same weights. Jumps are few beside lines in most jobs: where they leave jump_ms open but hardly matter, it keeps
    its usual value, turn_ms is solved alone and `source` says so.
    """
    if len(timed) < 2:
        raise DataError(
            f"{len(timed)} timed job is too few: time two, one of many short lines and one of many small dots."
        )
    machines = {item.job.machine.name for item in timed} | ({machine.name} if machine else set())
    if len(machines) > 1:
        raise DataError(
            f"the times are of different machines ({', '.join(sorted(machines))}); time two jobs of the machine meant."
        )
    counts, rest_s, watch_s = (np.array(column) for column in zip(*(_counted(item) for item in timed), strict=True))
    jump_speed = machine.jump_speed_mm_s if machine else timed[0].job.timing.jump_speed_mm_s
    delay_ms, error_ms = _solved(counts, rest_s, watch_s)
    if _known(delay_ms, error_ms, UNSURE_MS) and delay_ms[1] <= MOST_JUMP_MS:
        source = f"fitted to {len(timed)} timed jobs: turn_ms ± {error_ms[0]:.2g}, jump_ms ± {error_ms[1]:.2g}"
        return Timing(round(delay_ms[0], 4), round(delay_ms[1], 4), jump_speed, source)
    usual_ms = machine.jump_ms if machine and machine.jump_ms is not None else Timing().jump_ms
    alone_ms, error_alone_ms = _solved(counts[:, :1], rest_s - counts[:, 1] * usual_ms / 1e3, watch_s)
    error_alone_ms = error_alone_ms + JUMP_RANGE_MS * float(np.max(counts[:, 1] / counts[:, 0]))
    if _known(alone_ms, error_alone_ms, UNSURE_MS[:1]):
        source = f"turn_ms ± {error_alone_ms[0]:.2g} fitted to {len(timed)} timed jobs, jump_ms kept: they have too few jumps to tell it"
        return Timing(round(alone_ms[0], 4), usual_ms, jump_speed, source)
    raise DataError(
        f"these jobs ({', '.join(f'{lines:.0f} lines and {jumps:.0f} jumps' for lines, jumps in counts)}) cannot tell turn-rounds "
        "from jumps or from the watch's error of about 1 s. Time one job of many short lines and one of many small dots, the "
        "longer the better."
    )


def _solved(counts: np.ndarray, rest_s: np.ndarray, watch_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Delays (k,) none below 0, and their standard errors (k,), infinite where the counts (n, k) leave them open [ms]."""
    from scipy.optimize import nnls

    weighted = counts / watch_s[:, None]
    delay_s, _ = nnls(weighted, rest_s / watch_s)
    normal = weighted.T @ weighted
    scale = np.sqrt(np.diag(normal))
    if not (np.isfinite(scale) & (scale > SMALLEST)).all() or np.linalg.cond(normal / np.outer(scale, scale)) > 1e10:
        return delay_s * 1e3, np.full(counts.shape[1], np.inf)
    return delay_s * 1e3, np.sqrt(np.diag(np.linalg.inv(normal))) * 1e3


def _known(delay_ms: np.ndarray, error_ms: np.ndarray, least_ms: tuple[float, ...]) -> bool:
    return bool((error_ms <= np.maximum(least_ms, UNSURE_SHARE * delay_ms)).all())


def timing_lines(timing: Timing) -> tuple[str, ...]:
    """Lines to put into machine.toml."""
    return f"turn_ms = {timing.turn_ms:.4g}", f"jump_ms = {timing.jump_ms:.4g}"


def seconds_of(text: str) -> float:
    """Seconds of a time written as seconds, min:s or h:min:s.

    Raises
    ------
    DataError
        Anything else, or no time at all.

    Examples
    --------
    >>> seconds_of("95"), seconds_of("25:20"), seconds_of("1:05:20.5")
    (95.0, 1520.0, 3920.5)
    """
    try:
        parts = [float(part) for part in text.split(":")]
    except ValueError:
        parts = []
    seconds = sum(part * 60**power for power, part in enumerate(reversed(parts)))
    if not 1 <= len(parts) <= 3 or not all(math.isfinite(part) and part >= 0 for part in parts) or seconds <= 0:
        raise DataError(f"{text!r} is not a time; write seconds, min:s or h:min:s, such as 1520 or 25:20.")
    return seconds


def _counted(item: TimedJob) -> tuple[tuple[float, float], float, float]:
    """Lines and jumps of a job, the time they took together [s], and the watch's error [s]."""
    job, measured_s = item.job, item.measured_s
    lines, jumps = sum(layer.lines for layer in job.layers), sum(layer.jumps for layer in job.layers)
    if not lines:
        raise DataError(f"the job of {job.name} was written before lines and jumps were counted. Write it again.")
    speed = job.timing.jump_speed_mm_s or job.machine.max_speed_mm_s
    on_s = sum(layer.scan_s + layer.jump_mm / speed for layer in job.layers)
    if not math.isfinite(on_s):
        raise DataError(f"the job of {job.name} is damaged: its way at {speed:g} mm/s takes for ever. Write it again.")
    if measured_s < on_s - SLACK_S:
        raise DataError(
            f"{job.name} took {clock(measured_s)}, but laser and jumps alone take {clock(on_s)}: check the time, and that it was "
            "marked with the settings of its sheet."
        )
    return (lines, jumps), max(measured_s - on_s, 0.0), max(WATCH_S, WATCH_SHARE * measured_s)
