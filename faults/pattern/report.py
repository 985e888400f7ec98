"""Gather the findings of a difference, drop what a stronger finding says, and state what cannot be told."""

import numpy as np
from attrs import frozen

from faults.counts import counted
from faults.pattern.cover import cover
from faults.pattern.damage import bit_errors, parity_of_failures, repeats, second_reading, tally
from faults.pattern.evidence import Evidence, bits_of
from faults.pattern.finding import Finding
from faults.pattern.fit import LawFinding, flips, silent_words
from faults.pattern.law import EchoLaw, Law, SliceLaw, StaleLaw
from faults.pattern.placement import (
    CubeFinding,
    address_bits,
    product_of_parts,
    runs_of_failures,
    shared_cube,
    smallest_block,
)
from faults.pattern.search import find_laws

MOST_BITS = 8
MOST_LAWS = 6


@frozen
class PatternReport:
    """The structure of a difference.

    ``findings`` are true statements, the most telling first; ``limits`` say what this evidence cannot
    tell; ``numbering`` states base and bit numbers of data and addresses once.
    """

    tested: int
    failing: int
    findings: tuple[Finding, ...]
    limits: tuple[str, ...]
    numbering: tuple[str, ...]

    @property
    def clean(self) -> bool:
        """Whether nothing differs."""
        return self.failing == 0

    def of_kind(self, kind: str) -> tuple[Finding, ...]:
        """Return the findings of one kind (``law``, ``cube``, ``bit``, ...)."""
        return tuple(f for f in self.findings if f.kind == kind)

    def sentences(self) -> tuple[str, ...]:
        """Return everything as sentences: numbering, findings, limits."""
        return (*self.numbering, *(f.sentence for f in self.findings), *self.limits)


def analyse(evidence: Evidence) -> PatternReport:
    """Find the structure of a dump's difference or of a list of failing addresses."""
    found, limits = _nothing(evidence)
    if evidence.failing.any():
        found, limits = _from_list(evidence) if evidence.words is None else _from_dump(evidence)
    return PatternReport(
        evidence.addresses.size,
        int(evidence.failing.sum()),
        tuple(found),
        (*limits, *_general_limits(evidence)),
        _numbering(evidence),
    )


def _numbering(evidence: Evidence) -> tuple[str, ...]:
    top = evidence.address.bits - 1
    address = (
        f"Addresses of {counted(top + 1, 'bit')}, numbered by weight: bit n has the weight 2**n, and bit "
        f"{top} is the most significant."
    )
    if evidence.words is None:
        return (address,)
    return (evidence.word.numbering_sentence(), address)


def _nothing(evidence: Evidence) -> tuple[list[Finding], list[str]]:
    second = None if evidence.words is None else second_reading(evidence)
    said = f"No difference in {counted(evidence.addresses.size, 'word')}: true for what was read, this once."
    return ([] if second is None else [second]), [said]


def _from_list(evidence: Evidence) -> tuple[list[Finding], list[str]]:
    limits = ["A list of addresses does not tell which bits failed, nor which way."]
    return _placed(None, evidence), limits


def _from_dump(evidence: Evidence) -> tuple[list[Finding], list[str]]:
    laws = _told(find_laws(evidence), evidence)
    damaged = evidence.need_words().damaged
    whole = [f for f in laws if f.slice & damaged == damaged]
    law = next((SliceLaw(f.law, f.slice) for f in whole if f.exact), None)
    bits = [] if whole and whole[0].exact else _bit_findings(laws, evidence)
    extra = (parity_of_failures(evidence), second_reading(evidence), repeats(evidence))
    found: list[Finding] = [*laws[:MOST_LAWS], *bits, *_placed(law, evidence), tally(evidence)]
    return [*found, *(f for f in extra if f is not None)], _law_limits(laws, evidence)


def _told(laws: tuple[LawFinding, ...], evidence: Evidence) -> list[LawFinding]:
    """Order the laws: those that claim a whole region, exact ones, explaining most; each slice in turn."""
    full = evidence.need_words().full
    ranked = sorted(laws, key=lambda f: (f.cube is None, not f.exact, -f.failing, f.slice != full))
    turn = [sum(g.slice == f.slice for g in ranked[:n]) for n, f in enumerate(ranked)]
    return [f for _, f in sorted(zip(turn, ranked, strict=True), key=lambda pair: pair[0])]


def _bit_findings(laws: list[LawFinding], evidence: Evidence) -> list[Finding]:
    """Describe each damaged data bit for which no exact law was found, if they are few."""
    told = {f.slice for f in laws if f.exact}
    damaged = bits_of(evidence.need_words().damaged)
    if len(damaged) > MOST_BITS:
        return []
    return [bit_errors(n, evidence) for n in reversed(damaged) if 1 << n not in told]


def _placed(law: Law | None, evidence: Evidence) -> list[Finding]:
    quiet = np.zeros(evidence.addresses.size, dtype=np.bool_)
    if law is not None:
        quiet = silent_words(law, evidence.need_words().full, evidence)
    cube = shared_cube(law, evidence)
    more: list[Finding | None] = [smallest_block(evidence)]
    if not cube.silent:
        more.append(runs_of_failures(evidence))
    if not cube.exact:
        more += [cover(quiet, evidence), product_of_parts(law, evidence)]
    else:
        more += [product_of_parts(law, evidence)] if _two_sided(cube, evidence) else []
    return [cube, *(f for f in more if f is not None), address_bits(evidence)]


def _two_sided(cube: CubeFinding, evidence: Evidence) -> bool:
    """Whether the condition fixes bits with free ones between, so that X and Y parts make sense."""
    fixed = bits_of(cube.cube.fixed)
    free = [n for n in evidence.varying if n not in fixed]
    return len(fixed) > 1 and any(fixed[0] < n < fixed[-1] for n in free)


def _law_limits(laws: list[LawFinding], evidence: Evidence) -> list[str]:
    limits = []
    kinds = {f.law.kind for f in laws}
    damaged = evidence.need_words().damaged
    for part in sorted({f.slice & damaged for f in laws}):
        rivals = [f for f in laws if f.exact and f.slice & damaged == part]
        if len({f.failing for f in rivals}) != 1 or len(rivals) < 2:
            continue
        shown = sum(f in laws[:MOST_LAWS] for f in rivals)
        listed = f" ({shown} are listed)" if shown < len(rivals) else ""
        limits.append(
            f"{len(rivals)} readings explain the failures equally well"
            f"{listed}: the dump alone cannot choose; "
            "fill with the address as data (or random words) and read again."
        )
    if "stuck" in kinds:
        limits.append(
            "An address bit that is stuck, open or not decoded at all reads alike; in a writable memory the "
            "value shown may only be the last one written."
        )
    if "mask" in kinds or any(f.law.kind.startswith("data") for f in laws):
        limits.append(
            "A dump cannot tell stuck from open, nor a dead sense path from contents written wrong."
        )
    if evidence.need_words().parity is not None and flips(evidence) == (1, 1):
        limits.append(
            "Each failing word differs in one bit: where it is known which, parity gives its value back, if "
            "nothing else in the word is wrong. Mark such words as reconstructed."
        )
    if any(isinstance(f.law, StaleLaw | EchoLaw) for f in laws):
        limits.append("Stale or echoed words come from the bus: nothing drove it, or the strobe was missed.")
    return [*limits, *_uniform(evidence)]


def _uniform(evidence: Evidence) -> list[str]:
    kinds = int(np.unique(evidence.need_words().expected).size)
    if kinds * 4 > min(evidence.addresses.size, 1 << evidence.word.bits):
        return []
    few = f"{counted(kinds, 'different word')} in {evidence.addresses.size:,}"
    return [
        f"The expected contents hold only {few}: wrong addressing may go unseen or look like something else."
    ]


def _general_limits(evidence: Evidence) -> list[str]:
    limits = []
    if evidence.assumed:
        limits.append("Addresses not listed are taken to have been tried and found right.")
    if evidence.unread:
        limits.append(f"{counted(evidence.unread, 'word')} could not be read at all: left out.")
    words = evidence.words
    if words is not None and bool((words.known != np.uint64(words.full)).any()):
        partly = int((words.known != np.uint64(words.full)).sum())
        limits.append(
            f"{counted(partly, 'word')} with unread digits: compared only where they could be read."
        )
    return limits
