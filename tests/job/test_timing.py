"""Delays found from timed jobs; the times are simulated from known delays, so the answer is known."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from pieces import LASER, layers_of, palette, pond
from scipy.optimize import lsq_linear

from tint.errors import DataError, LimitError
from tint.job.job import Job, plan_job
from tint.job.order import Timing
from tint.job.timing import TimedJob, calibrated_timing, read_timed, seconds_of, timing_lines, timing_of
from tint.setting import Machine, machine_from, read_machine, toml_text


def job_of(scan_s: float, lines: float, jumps: float, machine: Machine = LASER) -> Job:
    """A job of one layer with these counts, all invented."""
    piece = layers_of(np.ones((40, 40), dtype=np.uint8), 0.1, palette(1))
    job = plan_job(piece, machine, date="2026-03-14")
    layer = dataclasses.replace(job.layers[0], scan_s=scan_s, lines=lines, jumps=jumps, jump_mm=10.0 * jumps)
    return dataclasses.replace(job, layers=(layer,))


def clocked(job: Job, turn_ms: float, jump_ms: float, watch_s: float = 0.0) -> TimedJob:
    """The job with the time a machine of these delays takes, by the sum over its layers; SIMULATED."""
    extra = sum(layer.lines * turn_ms + layer.jumps * jump_ms for layer in job.layers) / 1e3
    on = sum(layer.scan_s + layer.jump_mm / LASER.max_speed_mm_s for layer in job.layers)
    return TimedJob(job, on + extra + watch_s)


BARS = job_of(50, 100_000, 40)  # many short lines
DOTS = job_of(20, 60_000, 15_000)  # many small dots


@pytest.mark.parametrize("turn_ms, jump_ms", [(0.6, 1.0), (0.25, 4.0), (1.8, 2.5)])
def test_two_timed_jobs_give_back_the_delays_they_were_made_with(turn_ms: float, jump_ms: float) -> None:
    found = calibrated_timing([clocked(BARS, turn_ms, jump_ms), clocked(DOTS, turn_ms, jump_ms)])
    assert (found.turn_ms, found.jump_ms) == (pytest.approx(turn_ms, rel=1e-3), pytest.approx(jump_ms, rel=1e-3))
    assert "fitted to 2 timed jobs" in found.source


def test_planned_jobs_timed_as_planned_give_the_planned_delays_back() -> None:
    coarse = dataclasses.replace(palette(1).colours[0], setting=dataclasses.replace(palette(1).colours[0].setting, spacing_mm=0.02))
    chosen = dataclasses.replace(palette(1), colours=(coarse,))
    dots = np.zeros((50, 60), dtype=np.uint8)
    dots[::2, ::2] = 1
    bars = np.zeros((60, 110), dtype=np.uint8)
    bars[:, ::2] = 1
    planned = Timing(9.0, 200.0)  # slow mirrors, so that small pieces settle both
    jobs = [plan_job(layers_of(labels, 0.1, chosen), LASER, timing=planned) for labels in (dots, bars)]
    found = calibrated_timing([TimedJob(job, job.marking_s) for job in jobs])
    assert (found.turn_ms, found.jump_ms) == (pytest.approx(9.0, rel=1e-3), pytest.approx(200.0, rel=1e-3))


def test_more_jobs_than_two_are_weighed_as_an_independent_solver_weighs_them() -> None:
    jobs, slips = [BARS, DOTS, job_of(400, 200_000, 9_000)], np.array([0.8, -0.6, 0.5])
    timed = [clocked(job, 0.7, 3.0, slip) for job, slip in zip(jobs, slips, strict=True)]
    found = calibrated_timing(timed)
    counts = np.array([[job.layers[0].lines, job.layers[0].jumps] for job in jobs])
    rest = slips + counts @ [0.7e-3, 3.0e-3]
    watch = np.maximum(1.0, [0.005 * item.measured_s for item in timed])
    exact = lsq_linear(counts / watch[:, None], rest / watch, bounds=(0, np.inf)).x * 1e3
    assert (found.turn_ms, found.jump_ms) == (pytest.approx(exact[0], rel=1e-3), pytest.approx(exact[1], rel=1e-3))


def test_no_delay_is_negative() -> None:
    found = calibrated_timing([clocked(BARS, 0.6, 0.0), clocked(DOTS, 0.6, 0.0, -0.9)])
    assert found.jump_ms == 0 and 0.55 < found.turn_ms < 0.65


def test_jobs_with_few_jumps_settle_the_turn_round_alone_and_say_that_the_jump_was_kept() -> None:
    found = calibrated_timing([clocked(BARS, 0.8, 1.0), clocked(job_of(300, 120_000, 60), 0.8, 1.0)])
    assert found.turn_ms == pytest.approx(0.8, rel=1e-2) and found.jump_ms == 1.0
    assert "jump_ms kept" in found.source


@pytest.mark.parametrize(
    "timed, said",
    [
        ([clocked(BARS, 0.6, 1)], "1 timed job is too few: time two"),
        ([clocked(DOTS, 0.6, 1)] * 2, "60000 lines and 15000 jumps, 60000.*cannot tell turn-rounds from jumps"),
        ([clocked(job_of(900, 3_000, 1), 0.6, 1)] * 2, "cannot tell turn-rounds from jumps or from the watch"),
        ([clocked(BARS, 0.6, 1), TimedJob(DOTS, 15.0)], "kingfisher sign took 0:15, but laser and jumps alone take 0:35"),
        ([clocked(BARS, 0.6, 1), clocked(job_of(20, 60_000, 9, dataclasses.replace(LASER, name="old laser")), 0.6, 1)],
         "different machines .bench laser .invented., old laser"),
        ([clocked(job_of(20, 0, 0), 0.6, 1)] * 2, "before lines and jumps were counted"),
    ],
)  # fmt: skip
def test_times_that_settle_nothing_are_refused_in_one_line_that_says_what_to_time(timed: list[TimedJob], said: str) -> None:
    with pytest.raises(DataError, match=said) as caught:
        calibrated_timing(timed)
    assert "\n" not in str(caught.value)


def test_times_of_another_machine_than_the_one_meant_are_refused() -> None:
    timed = [clocked(BARS, 0.6, 1), clocked(DOTS, 0.6, 1)]
    assert calibrated_timing(timed, LASER).turn_ms == pytest.approx(0.6, rel=1e-3)
    with pytest.raises(DataError, match="second laser"):
        calibrated_timing(timed, dataclasses.replace(LASER, name="second laser (invented)"))


def test_the_lines_for_machine_toml_read_back_and_set_the_times_of_the_next_job(tmp_path) -> None:
    timing = Timing(0.8234, 2.5, source="fitted")
    text = toml_text(LASER) + "\n".join(timing_lines(timing)) + "\n"
    (tmp_path / "machine.toml").write_text(text, encoding="utf-8")
    machine = read_machine(tmp_path / "machine.toml")
    assert (machine.turn_ms, machine.jump_ms) == (0.8234, 2.5)
    assert machine_from(machine.as_dict()).turn_ms == 0.8234
    piece = layers_of(pond(4), 0.5, palette(4))
    job = plan_job(piece, machine, date="2026-03-14")
    assert (job.timing.turn_ms, job.timing.jump_ms) == (0.8234, 2.5) and "turn_ms and jump_ms of bench laser" in job.timing.source
    assert job.marking_s > plan_job(piece, LASER).marking_s
    assert not any("has changed" in line for line in job.remarks)  # delays change no colour


def test_what_a_machine_does_not_state_is_common_practice_and_said_so() -> None:
    assert timing_of(LASER) == Timing() and timing_of(LASER).source == "common practice, no source"
    half = timing_of(dataclasses.replace(LASER, turn_ms=0.0, jump_speed_mm_s=4000))
    assert (half.turn_ms, half.jump_ms, half.jump_speed_mm_s) == (0, 1, 4000)
    assert "turn_ms of bench laser" in half.source and "jump_ms common practice, no source" in half.source


@pytest.mark.parametrize("change", [{"turn_ms": -1}, {"jump_ms": float("nan")}, {"jump_speed_mm_s": 0}, {"turn_ms": True}, {"jump_ms": "fast"}])
def test_a_machine_with_delays_that_cannot_be_is_refused_by_name(change: dict[str, object]) -> None:
    with pytest.raises(LimitError, match=next(iter(change))):
        dataclasses.replace(LASER, **change)


def test_a_timed_job_is_written_folder_equals_time(folder) -> None:
    assert read_timed(f"{folder}=25:20").measured_s == 1520 and read_timed(f"{folder}=95").job.name == "kingfisher sign"
    for text in ("kingfisher-job", "=25", "kingfisher-job="):
        with pytest.raises(DataError, match="write"):
            read_timed(text if "=" not in text or text.startswith("=") else f"{folder}=")
    for text in ("1:2:3:4", "-5", "0", "fast", "nan", "1::2"):
        with pytest.raises(DataError, match="is not a time; write seconds, min:s or h:min:s"):
            seconds_of(text)
