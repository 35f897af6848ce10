"""Files written whole or not at all, and read or refused in one clear line; tint's own name their format inside."""
