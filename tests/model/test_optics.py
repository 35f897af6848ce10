"""Film colour inside the model against the package's own film optics and against finite differences."""

from __future__ import annotations

import numpy as np
import pytest

from tint.film import material_index, reflectance
from tint.lab import delta_e00, lab_from_reflectance
from tint.model.optics import (
    FAMILIES,
    OPTICS_MEAN,
    WAVELENGTH_NM,
    WEAK_K,
    colour,
    colour_and_slopes,
    family_of,
    lab_from_relative,
    optics_of,
    relative_from_lab,
)

NO_HAZE = -40.0  # as a logit: none at all


def pure() -> np.ndarray:
    """Constants (1, 11) that leave the tables as they are, but for the weak absorption that is taken back."""
    constants = OPTICS_MEAN.copy()
    constants[[0, 4]] = 1.0
    return constants[None]


@pytest.mark.parametrize("family", ["austenitic steel", "ferritic steel", "brass"])
def test_two_films_have_the_colour_the_film_optics_give_them(family):
    metal, inner, outer = (material_index(name, WAVELENGTH_NM) for name in FAMILIES[family])
    nm, share = np.array([15.0, 60, 130, 280]), np.array([0.1, 0.3, 0.5, 0.9])
    latent = np.stack([np.log(nm), np.log(share / (1 - share)), np.full(4, NO_HAZE), np.zeros(4)], axis=-1)[None]
    films = [(outer + 1j * WEAK_K, share * nm), (inner + 1j * WEAK_K, (1 - share) * nm)]
    theirs = lab_from_reflectance(WAVELENGTH_NM, reflectance(WAVELENGTH_NM, films, metal))
    assert colour(optics_of(family), latent, pure())[0] == pytest.approx(theirs, abs=1e-6)


def test_twenty_nanometre_steps_are_enough():
    fine = np.arange(380.0, 781.0, 5.0)
    metal, inner = (material_index(name, fine) for name in ("austenitic steel", "magnetite"))
    nm = np.linspace(10, 300, 30)
    theirs = lab_from_reflectance(fine, reflectance(fine, [(inner + 1j * WEAK_K, nm)], metal))
    latent = np.stack([np.log(nm), np.full(30, -40.0), np.full(30, NO_HAZE), np.zeros(30)], axis=-1)[None]
    shift = delta_e00(colour(optics_of("austenitic steel"), latent, pure())[0], theirs)
    assert np.median(shift) < 0.3 and shift.max() < 1.5


@pytest.mark.parametrize("family", list(FAMILIES))
def test_slopes_are_those_of_finite_differences(family):
    rng = np.random.default_rng(1)
    latent = rng.normal(size=(2, 20, 4)) * [0.6, 1, 1, 0.1] + [4.5, 0, -2, 0]
    constants = OPTICS_MEAN + rng.normal(size=(2, 11)) * 0.1
    optics, step = optics_of(family), 1e-5
    _, by_latent, by_constant = colour_and_slopes(optics, latent, constants)
    for k in range(4):
        move = step * np.eye(4)[k]
        theirs = (colour(optics, latent + move, constants) - colour(optics, latent - move, constants)) / (2 * step)
        assert by_latent[..., k] == pytest.approx(theirs, rel=1e-4, abs=1e-3)
    for k in range(11):
        move = step * np.eye(11)[k]
        theirs = (colour(optics, latent, constants + move) - colour(optics, latent, constants - move)) / (2 * step)
        assert by_constant[..., k] == pytest.approx(theirs, rel=1e-4, abs=1e-3)


def test_lab_and_relative_xyz_go_round():
    lab = np.random.default_rng(0).uniform([1, -60, -60], [99, 60, 60], (200, 3))
    lab = lab[(relative_from_lab(lab) > 1e-6).all(axis=1)]
    assert lab_from_relative(relative_from_lab(lab)) == pytest.approx(lab, abs=1e-9)


def test_a_dull_surface_is_grey_and_a_bare_metal_is_not_dark():
    optics = optics_of("austenitic steel")
    dull = colour(optics, np.array([[[4.5, 0, 40.0, 0]]]), pure())[0, 0]
    bare = colour(optics, np.array([[[-5.0, 0, NO_HAZE, 0]]]), pure())[0, 0]
    assert np.hypot(*dull[1:]) < 1 and dull[0] < bare[0] - 20


def test_grades_find_their_family():
    for grade, family in (
        ("304", "austenitic steel"), ("1.4301", "austenitic steel"), ("AISI 430", "ferritic steel"), ("Ti-6Al-4V", "titanium"),
        ("titanium grade 2", "titanium"), ("CuZn37", "brass"), ("stainless, grade not stated", "austenitic steel"),
        ("1.4016", "ferritic steel"), ("1.4509", "ferritic steel"), ("SUS430", "ferritic steel"),
        ("316 Ti", "austenitic steel"), ("aluminium", "austenitic steel"), ("3.7035", "titanium"), ("ti6al4v", "titanium"),
        ("copper", "brass"), ("bronze", "brass"),
    ):  # fmt: skip
        assert family_of(grade) == family
