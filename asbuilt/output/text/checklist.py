"""The list before backfill, as text to act on in a trench and as JSON."""

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from asbuilt.checks.item import CheckItem, Outcome
from asbuilt.output.text.rules import edition_sentence, head_json, wrapped
from asbuilt.rules.profile import Profile

NOT_A_RELEASE = "Not a release to backfill: the authority decides."
COMPLETE = f"Record complete. {NOT_A_RELEASE}"
"""How a list ends on which nothing is left."""

_HEADINGS = {
    Outcome.OUTSIDE: "OUTSIDE THE RULE",
    Outcome.MISSING: "MISSING",
    Outcome.DOUBTFUL: "DOUBTFUL",
    Outcome.DONE: "DONE",
}
_WORDS = {Outcome.OUTSIDE: "outside the rule", Outcome.MISSING: "missing", Outcome.DOUBTFUL: "doubtful"}
_ALWAYS = ("not-looked-at",)  # said without --all too: nobody should take it for looked at


def verdict_sentence(items: Iterable[CheckItem]) -> str:
    """Say how the list ends: complete, complete but for doubts, or what is lacking; never a pass.

    Examples
    --------
    >>> verdict_sentence([])
    'Record complete. Not a release to backfill: the authority decides.'
    """
    counts = Counter(item.outcome for item in items)
    lacking = [f"{counts[outcome]} {words}" for outcome, words in _WORDS.items() if counts[outcome]]
    if not lacking:
        return COMPLETE
    if not counts[Outcome.OUTSIDE] and not counts[Outcome.MISSING]:
        doubts = counts[Outcome.DOUBTFUL]
        return f"Record complete but for {doubts} doubt{'' if doubts == 1 else 's'}, see above. {NOT_A_RELEASE}"
    return f"Record not complete: {', '.join(lacking)}. {NOT_A_RELEASE}"


def checklist_text(name: str, profile: Profile, items: Sequence[CheckItem], *, everything: bool) -> str:
    """Write the list, the most urgent first, the sources under it, each once; then how it ends.

    Parameters
    ----------
    everything
        Also what is done.
    """
    shown = [item for item in items if everything or item.outcome is not Outcome.DONE or item.code in _ALWAYS]
    sources = list(dict.fromkeys(item.source for item in shown if item.source))
    lines = wrapped(f"{name}: before it is covered, by the rules of {profile.title}")
    for outcome, heading in _HEADINGS.items():
        mine = [item for item in shown if item.outcome is outcome and item.code not in _ALWAYS]
        if mine:
            lines += ["", f"{heading} ({len(mine)})"]
        group = None
        for item in mine:
            lines += [f" {item.group}"] if item.group != group else []
            group = item.group
            lines += _entry(item, sources)
    for item in (item for item in shown if item.code in _ALWAYS):
        lines += ["", *wrapped(f"{item.words} {item.next_act}")]
    lines += [""] if sources else []
    for number, source in enumerate(sources, start=1):
        lines += wrapped(f"[{number}] {source}")
    ending = verdict_sentence(items)
    if ending != COMPLETE:  # what is lacking stands on a line of its own
        ending = ending.removesuffix(f" {NOT_A_RELEASE}")
        return "\n".join([*lines, "", *wrapped(edition_sentence(profile)), *wrapped(ending), NOT_A_RELEASE])
    lines += ["", *wrapped(edition_sentence(profile)), ending]
    return "\n".join(lines)


def _entry(item: CheckItem, sources: Sequence[str]) -> list[str]:
    mark = f" [{sources.index(item.source) + 1}]" if item.source else ""
    lines = wrapped(f"- {item.words}{mark}", "  ")
    return lines + (wrapped(f"> {item.next_act}", "      ") if item.next_act else [])


def checklist_json(name: str, on: date, profile: Profile, items: Sequence[CheckItem]) -> dict[str, Any]:
    """Give the list as plain JSON values, all items, the most urgent first."""
    counts = Counter(item.outcome for item in items)
    lacking = counts[Outcome.OUTSIDE] + counts[Outcome.MISSING]
    return {
        "property": name,
        "on": on.isoformat(),
        "rules": head_json(profile),
        "complete": not lacking,
        "counts": {str(outcome): counts[outcome] for outcome in Outcome},
        "sentence": verdict_sentence(items),
        "items": [item.as_json() for item in items],
    }
