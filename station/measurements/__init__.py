"""From sweeps to readings: pure functions, no instrument, no store."""
