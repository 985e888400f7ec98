"""A map of a store as JSON."""

from typing import Final

from faults.report import MemoryMap
from faults.report.text import address_text

RUNS_SHOWN: Final = 256


def map_json(memory: MemoryMap) -> list[dict[str, object]]:
    """Return the regions of a map, as the schemas ``predict/1`` and ``dump/1`` have them."""
    return [
        {
            "first": run.first,
            "first_text": address_text(run.first, memory.base, memory.words),
            "count": run.count,
            "class": run.kind,
            "source": run.source,
            "bits": run.bits,
        }
        for run in memory.runs
    ]
