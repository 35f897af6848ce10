"""The next grid."""

from __future__ import annotations

import numpy as np
import pytest

from tint.errors import DataError
from tint.lab import delta_e00
from tint.model.model import predict
from tint.model.propose import propose
from tint.model.quantities import log_fields, over_box
from tint.setting import Setting


def test_proposed_settings_are_new_possible_and_inside_the_box(open_model):
    setting = propose(open_model, 12)
    guess = predict(open_model, setting)  # refuses what the machine cannot do
    assert len(setting) == 12 and guess.outside.max() == 0 and guess.unlearned == ()
    marked = {row.tobytes() for row in open_model.patches.setting.table()}
    rows = [row.tobytes() for row in setting.table()]
    assert len(set(rows)) == 12 and not marked & set(rows)


def test_proposed_colours_stand_clear_of_all_measured_while_there_are_such(invented_model):
    lab = predict(invented_model, propose(invented_model, 6)).lab
    seen = invented_model.patches.lab
    for i in range(3):  # later ones may find none left
        others = np.concatenate([seen, lab[:i]])
        assert np.sqrt(((lab[i] - others) ** 2).sum(axis=1)).min() >= 7.0


def test_proposals_show_more_new_colours_than_chance(open_model):
    from tint.model.pool import candidate_pool

    pool, seen = candidate_pool(open_model, 800), open_model.patches.lab
    free = np.array([not name for name in pool.patch])
    chance = pool.lab[free][:12]
    proposed = predict(open_model, propose(open_model, 12)).lab
    gaps = [np.median(np.sqrt(((lab[:, None] - seen) ** 2).sum(axis=-1)).min(axis=1)) for lab in (proposed, chance)]
    assert gaps[0] > 1.5 * gaps[1]


def test_the_last_sixth_of_a_grid_fills_the_widest_holes_between_the_settings(open_model):
    from tint.model.pool import filled
    from tint.model.propose import SPREAD

    last = round(SPREAD * 12)
    at, seen, others = (
        over_box(log_fields(setting), open_model.box)
        for setting in (
            propose(open_model, 12),
            open_model.patches.setting,
            Setting.from_table(filled(open_model, 800, 5, {})),
        )
    )
    gaps, chance = (np.sqrt(((part[:, None] - seen) ** 2).sum(axis=-1)).min(axis=1) for part in (at[-last:], others))
    assert last == 2 and gaps.min() > np.quantile(chance, 0.99)


def test_half_of_a_grid_goes_toward_a_wanted_colour(open_model):
    wish = np.array([50.0, 10, -36])
    near = delta_e00(predict(open_model, propose(open_model, 12, toward=[wish])).lab, wish)
    plain = delta_e00(predict(open_model, propose(open_model, 12)).lab, wish)
    assert (near < 8).sum() >= 6 > (plain < 8).sum()


def test_a_locked_field_stays_and_nonsense_is_refused(open_model):
    assert set(propose(open_model, 5, locked={"freq_khz": 300}).freq_khz) == {300}
    with pytest.raises(DataError, match="ask for 1 or more"):
        propose(open_model, 0)
    with pytest.raises(DataError, match="three numbers"):
        propose(open_model, 5, toward=[[1, 2]])
