"""Two reports of the invented Ravensholm tidal barrier that the tests of this folder render."""

import hashlib
from collections.abc import Callable
from pathlib import Path

import pytest

from faults.report import (
    Agreement,
    AgreementRow,
    Answer,
    Confidence,
    Event,
    Group,
    HistoryEntry,
    InputFile,
    Member,
    MemoryMap,
    Outcome,
    Report,
    Run,
    Step,
    Symptom,
    Verdict,
)


def _rope() -> MemoryMap:
    """24,576 words in banks of 1,024: address bit 10 stuck at 0, so every second bank shows the one below."""
    runs: list[Run] = []
    for bank in range(24):
        if bank % 2 == 0:
            runs.append(Run(bank * 1024, 1024, "same"))
        else:
            runs.append(Run(bank * 1024, 1024, "copy", source=(bank - 1) * 1024))
    runs[20:] = [
        Run(20 * 1024, 700, "same"),
        Run(20 * 1024 + 700, 40, "unknown", note="the lead slipped off the reader here"),
        Run(20 * 1024 + 740, 284, "same"),
        Run(21 * 1024, 1024, "copy", source=20 * 1024),
        Run(22 * 1024, 1024, "same"),
    ]
    return MemoryMap(
        "woven store",
        24_576,
        1024,
        tuple(runs),
        note="Dump of Tuesday evening against the listing of the gate program; the last bank was not read.",
    )


def _core() -> MemoryMap:
    """2,048 words of core with one of each class."""
    runs = (
        Run(0, 512, "same"),
        Run(512, 64, "bits", bits="13"),
        Run(576, 64, "zero"),
        Run(640, 128, "merged", note="OR of two words"),
        Run(768, 256, "same"),
        Run(1024, 32, "unknown"),
        Run(1056, 480, "same"),
        Run(1536, 512, "copy", source=0),
    )
    return MemoryMap("core", 2048, 64, runs)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _agreement() -> Agreement:
    agrees, against, silent = "agrees", "contradicts", "silent"
    return Agreement(
        ("1 bit 10 at 0", "3 driver R5 dead", "4 bits 10, 11 shorted"),
        (
            AgreementRow(
                "Dump: 11 of 23 banks wrong, each a copy of the bank below",
                (
                    Verdict(agrees, "predicts the same 11 banks that were read"),
                    Verdict(against, "would read all zero there, not copies"),
                    Verdict(against, "banks 2 and 3 of each four would differ too"),
                ),
            ),
            AgreementRow(
                "Stop 1: address 0o042017, data lamps 0o103?42, parity lamp dark",
                (
                    Verdict(agrees, "a whole, valid word arrives"),
                    Verdict(against, "an all-zero word breaks odd parity"),
                    Verdict(agrees, "a whole, valid word arrives"),
                ),
            ),
            AgreementRow(
                "Restarts: about every 2 s",
                (
                    Verdict(agrees, "the watchdog expires after 2.05 s"),
                    Verdict(agrees, "parity alarm, then restart"),
                    Verdict(agrees, "watchdog, 1.9 s"),
                ),
            ),
            AgreementRow(
                "Core test of Monday",
                (
                    Verdict(silent, "never reads the woven store"),
                    Verdict(silent, "never reads the woven store"),
                    Verdict(silent, "never reads the woven store"),
                ),
                passed=True,
            ),
        ),
    )


def _groups() -> tuple[Group, ...]:
    return (
        Group(
            1,
            931,
            "Woven store, address bit 10 stuck at 0",
            (
                Member("rope/address/10:stuck-0", "card R3, slot 7, connector J4, pin 12"),
                Member(
                    "rope/address/10:open", "wire white/blue from J4-12 to the driver; reads as 0 when open"
                ),
                Member("iface/address/10:stuck-0", "card P1, slot 2, pin 31"),
            ),
            "anything on the way of address bit 10",
            "ring out J4-12 to P1-31: an open wire reads open, the two stuck drivers read continuous",
        ),
        Group(
            2,
            31,
            "Nothing in the model explains this",
            (),
            "kept so that no answer is forced",
            "a second dump",
            kind="nothing",
        ),
        Group(
            3,
            22,
            "Observation 2 was misread",
            (Member("rope/driver/5:dead", "card R5, slot 9"),),
            "if the parity lamp was burnt out",
            "lamp test",
            kind="misread",
        ),
        Group(
            4,
            16,
            "Address bits 10 and 11 shorted, wired AND",
            tuple(Member(f"rope/address/10+11:shorted-and & rope/strand/{n}:weak") for n in range(14)),
            "two faults at once",
            "dump bank 0o06000",
            kind="pair",
        ),
    )


def _steps() -> tuple[Step, ...]:
    return (
        Step(
            "Ring out connector J4 pin 12 to connector P1 pin 31.",
            "card R3, slot 7, component side, left connector from the top",
            6,
            powered=False,
            caution="Unplug the machine, wait for the rails to reach 0 V, and use the meter's low-current range: "
            "core windings do not stand a normal ohm range.",
            why="No powered step tells more for the same six minutes.",
            outcomes=(
                Outcome("open (above 1 kΩ)", "leaves the wire or its two pins: rope/address/10:open", 410),
                Outcome("continuous", "leaves the drivers on card R3 and card P1", 590),
            ),
        ),
        Step(
            "Swap card R3 with card R4 (same type), then dump the first four banks again.",
            "slots 7 and 8",
            15,
            powered=True,
            caution="Never move a card while powered. Work on mains parts only as your local rules and a "
            "licensed electrician allow.",
            outcomes=(
                Outcome("every fourth pair of banks is now wrong", "leaves card R3"),
                Outcome("no change", "leaves the wire and card P1"),
            ),
        ),
    )


@pytest.fixture(scope="session")
def rich_report() -> Report:
    """Return a report with every part filled."""
    return Report(
        title="Gates stop half way since Tuesday",
        kind="match",
        machine="fulmar, Ravensholm tidal barrier",
        question="Which single fault explains the dump, the three stops and everything that passed?",
        answer=Answer(
            "Address bit 10 of the woven store never rises: look first at pin 12 of connector J4.",
            (
                ("Card", "R3"),
                ("Slot", "7"),
                ("Connector", "J4"),
                ("Pin", "12"),
                ("Wire", "white/blue"),
            ),
            "rope/address/10:stuck-0",
            "suspect",
        ),
        confidence=Confidence(
            931, "very likely", "calibrated", "Three faults of this group look alike so far."
        ),
        steps=_steps(),
        numbering=(
            "Addresses and words are octal, written 0o…",
            "Bit 0 is the least significant bit; the parity bit is P, odd parity, outside the word.",
            "Woven store addresses count from bank 0; a bank has 0o2000 (1,024) words.",
        ),
        cautions=(
            "Dump first, write later: a first read may be the only read.",
            "Filter capacitors hold charge for minutes: bleed and measure before you reach in.",
        ),
        groups=_groups(),
        groups_note="4 of 2,318 groups are listed; the other 2,314 hold less than 0.1 % together.",
        agreement=_agreement(),
        unexplained=("Stop 3 shows 0o777777 in the data lamps; no candidate predicts it.",),
        maps=(_rope(), _core()),
        story_about="rope/address/10:stuck-0",
        story=(
            Event("The gate program starts from bank 0 and runs as it should.", "1", "0o000000", "0 µs"),
            Event(
                "It calls the table of gate speeds in bank 1; bit 10 stays 0, so bank 0 answers.",
                "1,204",
                "0o002017",
                "12.04 ms",
            ),
            Event("The word 0o103642 arrives instead of 0o000310; its parity is right, so no alarm."),
            Event("Taken as an address it leads into the idle loop.", "1,209", "0o003642", "12.09 ms"),
            Event("Nobody feeds the watchdog; the machine restarts.", "", "", "2.05 s"),
        ),
        symptoms=(
            Symptom("Restart lamp", "counts once every 2.05 s", "stays at 0"),
            Symptom("Printer", "first line of the log only", "17 lines"),
            Symptom("Parity alarm", "none", "none"),
        ),
        history=(
            HistoryEntry("2 March", "Card R3 taken out, contacts cleaned, put back", "no change"),
            HistoryEntry("9 March", "Core plane 13 strobe mended", "core test passes since"),
        ),
        limits=(
            "Single faults and bounded pairs of structural faults were searched; three at once were not.",
            "Priors by part class are guesses of the board file, not measured failure rates.",
        ),
        inputs=(
            InputFile("gates.case.toml", _digest("case")),
            InputFile("dumps/tuesday.octal", _digest("dump")),
            InputFile("fulmar.board.toml", _digest("board")),
        ),
        seed="20",
        versions=(("corewright", "0.1.0"), ("case format", "1")),
        command="corewright match gates.case.toml -o gates.html",
    )


@pytest.fixture(scope="session")
def bare_report() -> Report:
    """Return a report with a title only: every part is optional."""
    return Report("Nothing to say")


GOLDEN = Path(__file__).parent.parent / "golden" / "report"


@pytest.fixture(scope="session")
def golden() -> Callable[[str, str], None]:
    """Return a check of text against a golden file; on a mismatch the new text is written beside it."""

    def check(name: str, text: str) -> None:
        held = GOLDEN / name
        if held.exists() and held.read_text(encoding="utf-8") == text:
            return
        new = held.with_name(f"{name}.new")
        new.parent.mkdir(parents=True, exist_ok=True)
        new.write_text(text, encoding="utf-8")
        pytest.fail(f"{held} differs from what is rendered now: {new}")

    return check
