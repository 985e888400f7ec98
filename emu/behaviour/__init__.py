"""The behaviour language: what an instruction, a trap or a timer does (docs/reference/behaviour.md)."""
