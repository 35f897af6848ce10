"""The fields of a setting: their names, units and what people call them."""

FIELDS = ("power_pct", "speed_mm_s", "freq_khz", "pulse_ns", "spacing_mm", "passes", "focus_mm", "hatch_deg")
UNITS = {
    "power_pct": "%", "speed_mm_s": "mm/s", "freq_khz": "kHz", "pulse_ns": "ns",
    "spacing_mm": "mm", "passes": "", "focus_mm": "mm", "hatch_deg": "°",
}  # fmt: skip
WORDS = {
    "power_pct": "power", "speed_mm_s": "speed", "freq_khz": "frequency", "pulse_ns": "pulse width",
    "spacing_mm": "line spacing", "passes": "passes", "focus_mm": "focus", "hatch_deg": "hatch angle",
}  # fmt: skip
