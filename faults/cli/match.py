"""``corewright match``."""

from collections.abc import Mapping
from typing import Any

import click

from faults.casereport import case_report
from faults.cli.diagnosing import diagnosed, extras_of
from faults.cli.exits import Exit
from faults.cli.faulted import write_report
from faults.cli.options import color_option, json_option, print_json, quiet_option, write_output
from faults.cli.schemas import declare_schema
from faults.diagnose import Diagnosis
from faults.measurements import next_step
from faults.ranking import Group
from faults.report import to_html

SCHEMA = declare_schema(
    "match/1",
    "`corewright match CASE --json`: which faults explain a case.",
    {
        "machine": "text: name of the machine",
        "numbering": "text: word size, arithmetic, base and bit numbers in a sentence",
        "outcome": "text: fits, healthy, misread (only if an observation was misread) or nothing",
        "nothing": "number: share of belief in a cause outside the model",
        "note": "text: what was tried",
        "groups": [
            {
                "rank": "int: from 1",
                "probability": "number: share of belief",
                "kind": "text: single, pair or healthy",
                "contradicts": "int: observations that it contradicts",
                "members": [
                    {
                        "fault": "text: in notation, or healthy",
                        "label": "text: place, card, pin in the reader's words",
                        "probability": "number: share of belief",
                        "stands_for": "int: how many like it its prior stands for",
                    }
                ],
            }
        ],
        "groups_total": "int: groups there are; those with the most belief are listed",
        "observations": [
            {
                "entry": "int: number in the case file, from 1",
                "text": "text: what it says",
                "passed": "bool: whether it says that something worked",
                "misread": "number: chance that it was misread",
                "verdicts": [
                    {"word": "text: agrees, contradicts or silent", "reason": "text: why"},
                ],
            }
        ],
        "unused": [{"entry": "int: number in the case file, from 1", "reason": "text: why it was not used"}],
        "suspicions": [
            {"file": "text: a file of the case", "sentence": "text: how it may have been misread"}
        ],
    },
)
GROUPS_LISTED = 50
_VERDICTS_FOR = 3


@click.command(epilog="Example: corewright match case.toml --report case.html")
@click.argument("case", metavar="CASE")
@click.option("--report", metavar="PATH", help="Also write the whole report as one HTML page.")
@click.option("--force", is_flag=True, help="Overwrite the output file.")
@click.option(
    "--next/--no-next", "advise", default=True, show_default=True, help="Also say what to measure next."
)
@json_option
@quiet_option
@color_option
def command(
    case: str, report: str | None, force: bool, advise: bool, as_json: bool, quiet: bool, color: str
) -> int:
    """Rank the faults that explain a case.

    Every single fault of the machine's board is held against everything that was seen and everything that
    passed; pairs are searched, within bounds, where no single fault fits. Faults that no observation can tell
    apart are one group.

    Exit code: 0 if a fault (or a healthy machine) fits everything, 1 if nothing does.
    """
    found = diagnosed(case, quiet=quiet)
    following = next_step(found) if (advise or report) and not (as_json and not report) else None
    if report:
        write_output(report, to_html(case_report(found, following, extras_of(found))), force=force)
    if as_json:
        print_json(SCHEMA.name, match_json(found))
    else:
        write_report(case_report(found, following, extras_of(found)), "-", force=force, color=color)
    return exit_of(found)


def exit_of(found: Diagnosis) -> int:
    """Return the exit code of a diagnosis."""
    if not found.ranking.columns:
        return Exit.INCONCLUSIVE
    return Exit.NEGATIVE if found.ranking.negative else Exit.DONE


def match_json(found: Diagnosis) -> Mapping[str, Any]:
    """Return what schema ``match/1`` holds."""
    ranking, machine = found.ranking, found.scene.machine
    tops = [g.members[0] for g in ranking.groups(_VERDICTS_FOR)]
    told = [ranking.agreement(i) for i in tops]
    return {
        "machine": machine.name,
        "numbering": machine.word.numbering_sentence(),
        "outcome": ranking.outcome,
        "nothing": ranking.nothing,
        "note": found.note,
        "groups": [_group_json(found, group) for group in ranking.groups(GROUPS_LISTED)],
        "groups_total": ranking.group_count,
        "observations": [
            {
                "entry": column.entry + 1,
                "text": column.label,
                "passed": column.passed,
                "misread": ranking.misread(k) if column.epoch == ranking.epoch else 0.0,
                "verdicts": [{"word": t[k].word, "reason": t[k].reason} for t in told],
            }
            for k, column in enumerate(ranking.columns)
        ],
        "unused": [{"entry": n + 1, "reason": reason} for n, reason in found.predicted.unused],
        "suspicions": [
            {"file": dump.dump.file, "sentence": s.sentence} for dump in found.dumps for s in dump.suspected
        ],
    }


def _group_json(found: Diagnosis, group: Group) -> Mapping[str, Any]:
    ranking, suspects = found.ranking, found.suspects.all
    return {
        "rank": group.rank,
        "probability": group.posterior,
        "kind": group.kind,
        "contradicts": group.contradicted,
        "members": [
            {
                "fault": ranking.hypotheses[i].fault,
                "label": ranking.hypotheses[i].label,
                "probability": float(ranking.posterior[i]),
                "stands_for": suspects[i].stands_for if i < len(suspects) else 1,
            }
            for i in group.members
        ],
    }
