"""The invented shop: a simulated laser, artwork drawn for it, and the whole flow run on both and on real marks."""
