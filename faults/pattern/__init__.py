"""Structure of a difference, with no machine: only word size, base and numbering.

Make an :class:`Evidence` with :func:`dump_evidence` or :func:`address_evidence` and pass it to
:func:`analyse`; every finding of the :class:`PatternReport` can check itself with ``holds``.
"""

from faults.pattern.cover import CoverFinding
from faults.pattern.damage import BitFinding, ParityFinding, RepeatFinding, SecondFinding, TallyFinding
from faults.pattern.evidence import Evidence, Parity, Words, address_evidence, dump_evidence
from faults.pattern.finding import Finding
from faults.pattern.fit import LawFinding, Score
from faults.pattern.law import DataLaw, EchoLaw, Law, MapLaw, MaskLaw, ShiftLaw, StaleLaw
from faults.pattern.merging import JoinLaw, MergeLaw, PairLaw
from faults.pattern.piling import PileLaw
from faults.pattern.placement import AddressBits, BlockFinding, CubeFinding, ProductFinding, RunsFinding
from faults.pattern.region import Cube
from faults.pattern.report import PatternReport, analyse

__all__ = [
    "AddressBits",
    "BitFinding",
    "BlockFinding",
    "CoverFinding",
    "Cube",
    "CubeFinding",
    "DataLaw",
    "EchoLaw",
    "Evidence",
    "Finding",
    "JoinLaw",
    "Law",
    "LawFinding",
    "MapLaw",
    "MaskLaw",
    "MergeLaw",
    "PairLaw",
    "Parity",
    "ParityFinding",
    "PatternReport",
    "PileLaw",
    "ProductFinding",
    "RepeatFinding",
    "RunsFinding",
    "Score",
    "SecondFinding",
    "ShiftLaw",
    "StaleLaw",
    "TallyFinding",
    "Words",
    "address_evidence",
    "analyse",
    "dump_evidence",
]
