"""Metals a shop marks: which family a grade belongs to, and the properties other files need of it."""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True)
class Metal:
    """A family of metals, with heat properties near room temperature.

    Parameters
    ----------
    name : in words
    density_kg_m3 : [kg/m³]
    heat_capacity_j_kg_k : [J/(kg K)]
    conductivity_w_m_k : [W/(m K)]
    index : name in `tint.film.MATERIALS` of its optical constants, "" where there are none
    """

    name: str
    density_kg_m3: float
    heat_capacity_j_kg_k: float
    conductivity_w_m_k: float
    index: str = ""


# Near 300 K, from memory after the property tables of Incropera, DeWitt, Bergman, Lavine, "Fundamentals of Heat and
# Mass Transfer", appendix A.1 (ferritic steel: EN 10088-1, from memory). Grades of one family differ by some percent.
AUSTENITIC = Metal("austenitic stainless steel", 7900, 477, 14.9, "austenitic steel")
METALS = (  # first match; after three digits "Ti" is what a steel is stabilised with
    (r"titan|(?<!\d{3}[ -])\bti\b|3\.70\d\d", Metal("titanium", 4500, 522, 21.9, "titanium")),
    (r"brass|cuzn", Metal("brass", 8530, 380, 110, "brass")),
    (r"copper|\bcu\b", Metal("copper", 8933, 385, 401)),
    (r"alumin|\bal\b", Metal("aluminium", 2702, 903, 237)),
    (r"carbon steel|mild steel|\bs235|\bdc0[1-6]", Metal("carbon steel", 7854, 434, 60.5, "iron")),
    (
        r"(?<![\d.])4[0-4]\d(?!\d)|1\.4[01]\d\d|1\.45(09|1[0-3]|2[016])|ferrit|martens",
        Metal("ferritic stainless steel", 7700, 460, 25, "ferritic steel"),
    ),
    (r"(?<![\d.])3[0-4]\d(?!\d)|1\.4[3-5]\d\d|austenit|stainless", AUSTENITIC),
)


def metal_of(grade: str) -> Metal | None:
    """Metal of a grade such as "304", "1.4301", "430", "titanium grade 2", "brass CuZn37"; None where not known.

    Examples
    --------
    >>> metal_of("430").name
    'ferritic stainless steel'
    >>> metal_of("titanium grade 2").density_kg_m3
    4500
    >>> metal_of("316 Ti").name
    'austenitic stainless steel'
    """
    words = grade.lower()
    return next((metal for pattern, metal in METALS if re.search(pattern, words)), None)
