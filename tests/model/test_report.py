"""The text of a report: what a person reads first, and what it must not keep quiet about."""

from __future__ import annotations

import dataclasses

import numpy as np

from tint.model.fit import fit
from tint.model.report import FitReport, Score, report_text, worse_than

PLAIN = FitReport(
    patches=40, flagged=2, folds=5, coverage=0.9, radius_de00=2.8,
    scores=(
        Score("this model", 1.12, 2.61), Score("film", 1.12, 2.61, 1.0), Score("process", 2.2, 5.0), Score("mean colour", 18.0, 30.0),
        Score("nearest patch", 7.5, 15.0),
    ),
)  # fmt: skip


def test_the_first_line_says_in_words_how_far_off_marks_land():
    first = report_text(PLAIN).splitlines()[0]
    assert first == "Half of fresh marks should land within ΔE00 1.1 of the prediction, 9 of 10 within 2.6 (2 is just noticeable)."


def test_a_member_that_is_the_whole_model_has_no_row_of_its_own():
    text = report_text(PLAIN)
    assert sum("1.12" in line for line in text.splitlines()) == 1
    assert "This model is film alone" in text
    film = Score("film colour of latent heat + Gaussian process", 1.3, 2.9, 0.75)
    scores = (PLAIN.scores[0], film, Score("process", 2.2, 5.0, 0.25), *PLAIN.scores[3:])
    mixed = report_text(dataclasses.replace(PLAIN, scores=scores))
    table = mixed[mixed.index("Error on patches") :].split("\n\n")[0].splitlines()
    assert len({line.index("median") + len("median") if "median" in line else line.index(".") + 3 for line in table}) == 1  # one column
    assert "(share 75 %)" in mixed and "(share 25 %)" in mixed and "alone" not in mixed


def test_drift_within_two_standard_errors_is_too_small_to_tell():
    lines = [report_text(dataclasses.replace(PLAIN, drift_pct=-0.5, drift_sd_pct=sd)) for sd in (0.26, 0.24)]
    assert "too small to tell, -0.50 %" in lines[0] and "too small to tell" not in lines[1] and "-0.50 %" in lines[1]
    assert "Drift" not in report_text(PLAIN)


def test_steps_of_power_are_told_from_the_first_plate():
    two, three = (report_text(dataclasses.replace(PLAIN, plate_steps_pct=steps)) for steps in ((-5.0,), (-5.0, 1.0)))
    assert "From the first plate to the next, power changed by -5.00 %; taken out" in two
    assert "From the first plate to each further one, power changed by -5.00 %, +1.00 %; taken out" in three


def test_readings_of_another_plate_are_called_worse_than_guessing(invented_patches, invented_model, machine, stock):
    swapped = dataclasses.replace(invented_patches, lab=invented_patches.lab[np.random.default_rng(1).permutation(30)])
    model = fit(swapped, machine, stock)
    second = report_text(model.report).splitlines()[1]
    assert second.startswith("WORSE THAN GUESSING: ") and "belong to this plate, machine and stock" in second
    assert worse_than(model.report) in ("mean colour", "nearest patch")
    assert worse_than(invented_model.report) == "" and "GUESSING" not in report_text(invented_model.report)
