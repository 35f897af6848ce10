"""The cautions, in one place: every screen, sheet and folder that shows settings or jobs repeats them from here."""

SHORT = (
    "Class 4 laser: enclosure closed, eyewear for the wavelength, fume extraction on. "
    "Not for food, medical or skin contact unless the maker of the piece has it assessed. "
    "Follow local codes, your safety officer and licensed practice."
)

FULL = (
    "Class 4 laser (IEC 60825-1): beam and reflections blind and burn. Keep the enclosure closed and interlocked; wear "
    "eyewear rated for {wavelength_nm:.0f} nm (EN 207: nanosecond pulses are mode R; check the D rating too).",
    "Fumes: marking stainless steel can release hexavalent chromium and nickel compounds (29 CFR 1910.1026: exposure "
    "limit 5 µg/m³, action level 2.5 µg/m³, 8-hour average). Run extraction with a fine-particle filter; wipe, do not blow, residue.",
    "A colour mark changes the surface and can lower corrosion resistance. Passivating acids (ASTM A967) attack colour "
    "marks: try a coupon first.",
    "Not for food, medical or skin contact unless the maker of the piece has it assessed (nickel release: REACH Annex "
    "XVII entry 27, EN 1811).",
    "Fire: keep the bed clear of anything that burns, and never leave a job unattended.",
    "Follow local codes, your safety officer and licensed practice. tint plans; it never drives a machine.",
)


def cautions(wavelength_nm: float) -> tuple[str, ...]:
    """Full cautions, one sentence group each, for a laser of this wavelength [nm].

    Examples
    --------
    >>> "1064 nm" in cautions(1064)[0]
    True
    """
    return tuple(line.format(wavelength_nm=wavelength_nm) for line in FULL)
