"""The engines: a readable walker and a compiled twin, held to one contract."""
