"""The cautions, in one place: every screen, sheet and folder that shows settings or jobs repeats them from here."""

from __future__ import annotations

from tint.metal import metal_of

SHORT = (
    "Class 4 laser: enclosure closed, eyewear for the wavelength, fume extraction on. "
    "Not for food, medical or skin contact unless the maker of the piece has it assessed. "
    "Follow local codes, your safety officer and licensed practice."
)

_BEAM = (
    "Class 4 laser (IEC 60825-1): beam and reflections blind and burn. Keep the enclosure closed and interlocked; wear "
    "eyewear rated for {wavelength_nm:.0f} nm (EN 207: nanosecond pulses are mode R; check the D rating too)."
)
_EXTRACT = "Run extraction with a fine-particle filter; wipe, do not blow, residue."
_STAINLESS = (
    "Fumes: marking stainless steel can release hexavalent chromium and nickel compounds (29 CFR 1910.1026: exposure "
    f"limit 5 µg/m³, action level 2.5 µg/m³, 8-hour average). {_EXTRACT}"
)
_FUMES = {  # common practice, no source, where none is named
    "titanium": "Fumes and dust: fine titanium dust burns and can explode; let none gather in duct or filter, keep a class D "
    f"extinguisher. {_EXTRACT}",
    "brass": f"Fumes: brass gives off zinc and copper oxides (metal fume fever), leaded grades lead (29 CFR 1910.1025). {_EXTRACT}",
    "copper": f"Fumes: copper oxides (metal fume fever). {_EXTRACT}",
    "aluminium": f"Fumes and dust: fine aluminium dust burns and can explode; let none gather in duct or filter. {_EXTRACT}",
    "carbon steel": f"Fumes: iron and manganese oxides; coatings such as zinc give off their own. {_EXTRACT}",
}
_CORROSION = "A colour mark changes the surface and can lower corrosion resistance."
_ACIDS = " Passivating acids (ASTM A967) attack colour marks: try a coupon first."
_CONTACT = "Not for food, medical or skin contact unless the maker of the piece has it assessed{}."
_NICKEL = " (nickel release: REACH Annex XVII entry 27, EN 1811)"
_FIRE = "Fire: keep the bed clear of anything that burns, and never leave a job unattended, cooling waits included."
_LAW = "Follow local codes, your safety officer and licensed practice. tint plans; it never drives a machine."


def cautions(wavelength_nm: float, grade: str) -> tuple[str, ...]:
    """Full cautions, one sentence group each, for a laser of this wavelength [nm] on a metal of this grade.

    Examples
    --------
    >>> "1064 nm" in cautions(1064, "304")[0], "hexavalent chromium" in cautions(1064, "304")[1]
    (True, True)
    >>> cautions(1064, "brass CuZn37")[1][:23]
    'Fumes: brass gives off '
    """
    metal = metal_of(grade)
    fumes = (
        _FUMES.get(metal.name, _STAINLESS)
        if metal
        else f"Metal {grade!r} is not known here: read its safety data sheet. {_STAINLESS}"
    )
    stainless = metal is None or "stainless" in metal.name
    corrosion = _CORROSION + _ACIDS * stainless
    return (
        _BEAM.format(wavelength_nm=wavelength_nm),
        fumes,
        corrosion,
        _CONTACT.format(_NICKEL * stainless),
        _FIRE,
        _LAW,
    )
