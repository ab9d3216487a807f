"""`asbuilt find`, `uncovered` and `label`: find a lid again, say where it really was, and the label for the panel."""

from datetime import date, datetime
from pathlib import Path

import click

from asbuilt.cli.options import (
    at_option,
    day_option,
    json_option,
    out_option,
    overwrite_option,
    property_argument,
    record_option,
    who_option,
)
from asbuilt.cli.printing import finish, show, show_json, warn_findings
from asbuilt.cli.pump import paper_option
from asbuilt.file_names import file_stem

lost_option = click.option("--lost", multiple=True, metavar="NAME", help="A corner that is gone or blocked; repeat it.")
visible_option = click.option(
    "--visible", multiple=True, metavar="NAME", help="Only what can be seen, an open lid too; repeat it."
)


@click.command(short_help="Say how to find a lid again: two tapes, side, circle.")
@property_argument
@click.argument("names", nargs=-1, metavar="[COMPONENT or POINT]...")
@record_option
@at_option
@lost_option
@visible_option
@click.option(
    "--care",
    type=click.Choice(["careful", "normal", "rough"]),
    default="normal",
    show_default=True,
    help="How the new tapes are pulled; it goes into the circle.",
)
@click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path), help="Write a sheet for the hand (PDF).")
@click.option("--one-page-each", is_flag=True, help="A page a lid, with --pdf; else all on one sheet.")
@click.option(
    "--lang", type=click.Choice(["en", "es"]), default="en", show_default=True, help="Language of the sentences."
)
@paper_option
@day_option
@overwrite_option
@json_option
def find(
    name: str,
    names: tuple[str, ...],
    record_file: Path,
    lost: tuple[str, ...],
    visible: tuple[str, ...],
    care: str,
    pdf: Path | None,
    one_page_each: bool,
    lang: str,
    paper: str,
    today: date,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Say how to find a lid again, years later: from which two corners, how far, on which side.

    It chooses the corners that cross most sharply from those that still stand (--lost, --visible), whether they were
    ever taped from or not; gives a third tape as check, the circle that holds the lid 19 times in 20, the depth, what
    lies near it, and what to do where it is not there. Without a name: every lid.

    \b
    Example:
      asbuilt find "Fernbank Lane 14" "septic tank" --lost "SE corner"
    """
    from asbuilt.jobs.find import Asked, find_lids, find_pdf, lost_findings, pictures_of
    from asbuilt.jobs.properties import located
    from asbuilt.output.files import refuse_existing, write_whole
    from asbuilt.output.find.data import find_json
    from asbuilt.output.find.words import find_text

    if one_page_each and pdf is None:
        raise click.UsageError("--one-page-each goes with --pdf FILE")
    if pdf is not None:
        refuse_existing(pdf, overwrite=overwrite)
    known = located(record_file, name)
    pictures = {} if pdf is None else pictures_of(record_file, known)
    found = find_lids(known, today, Asked(names, lost, visible, care, pictures))
    if pdf is not None:
        made = find_pdf(found, lang, paper, one_page_each=one_page_each or len(found.lids) == 1)
        write_whole(pdf, made, overwrite=overwrite)
    findings = lost_findings(found)
    if as_json:
        written = {} if pdf is None else {"written": str(pdf)}
        show_json({**find_json(found, lang), **written, "findings": [each.as_json() for each in findings]})
    elif pdf is not None:
        count = len(found.lids)
        show(f"{pdf}: how to find {count} lid{'' if count == 1 else 's'} of {name}")
        warn_findings(findings)
    else:
        show("\n".join(find_text(found, lang)))
    finish(findings)


@click.command(short_help="Say where an uncovered lid really was; the record improves.")
@property_argument
@click.argument("point", metavar="POINT")
@click.argument("tapes", nargs=-1, metavar="[FROM READING]...")
@record_option
@click.option("--off", metavar="LENGTH", help="How far it lay from its mark, in place of tapes.")
@click.option("--toward", metavar="WORDS", help="Which way: a corner, away from a corner, or north-east.")
@click.option("--from1", metavar="NAME", help="What set the mark; default: the tapes that find gives today.")
@click.option("--tape1", metavar="READING", help="Its tape.")
@click.option("--from2", metavar="NAME", help="The second corner of the mark.")
@click.option("--tape2", metavar="READING", help="Its tape.")
@lost_option
@visible_option
@click.option("--depth", metavar="LENGTH", help="How deep below the ground of that day.")
@click.option("--landmark", metavar="TEXT", help="Where it is by eye: 9 paces from the back door.")
@click.option("--held", metavar="HOW", help="level, slope or unknown; default: level, as find asks; slope with --drop.")
@click.option("--drop", metavar="LENGTH", help="How far it lies below the tapes' other ends.")
@click.option("--note", metavar="TEXT", help="Of what was found.")
@click.option("--by", metavar="TEXT", help="Who uncovered it; default: --who.")
@day_option
@click.option("--dry-run", is_flag=True, help="Only try it; store nothing.")
@who_option
@json_option
def uncovered(
    name: str,
    point: str,
    tapes: tuple[str, ...],
    record_file: Path,
    off: str | None,
    toward: str | None,
    from1: str | None,
    tape1: str | None,
    from2: str | None,
    tape2: str | None,
    lost: tuple[str, ...],
    visible: tuple[str, ...],
    depth: str | None,
    landmark: str | None,
    held: str | None,
    drop: str | None,
    note: str | None,
    by: str | None,
    today: date,
    dry_run: bool,
    who: str,
    as_json: bool,
) -> None:
    """Say where a lid really was when it was uncovered: new tapes, or how far it lay from its mark and which way.

    The difference is tested against what record and tapes allow; what was seen is stored with its day, so that the
    next one finds it sooner. Where it is too large, it says what would explain it: a corner mistaken, a face that
    moved, a tape misread, a lid moved. Nothing is corrected unasked. Exit status 1: the difference is too large.

    \b
    Example:
      asbuilt uncovered "Fernbank Lane 14" T1 --off 1in --toward well --dry-run
    """
    from asbuilt.jobs.uncovered import Uncovering
    from asbuilt.jobs.uncovered import uncovered as take
    from asbuilt.output.find.uncovered import UncoveredWords, uncovered_json

    mark = (from1, tape1, from2, tape2)
    asked = Uncovering(
        point, tapes, off, toward, mark, depth, landmark, by or who, note, held, drop, lost=lost, visible=visible
    )
    now = datetime.now().astimezone()
    said = take(record_file, name, asked, on=today, who=who, now=now, dry_run=dry_run)
    if as_json:
        facts = uncovered_json(said.sighting, said.ties, said.difference, said.explanations, said.findings)
        radii = {"r95_before_m": said.before_m, "r95_m": said.after_m}
        rounded = {key: None if each is None else round(each, 4) for key, each in radii.items()}
        show_json({"property": said.property, **facts, **rounded, "stored": said.stored})
    else:
        words = UncoveredWords(said.point, said.on, said.units)
        show(words.difference(said.difference, said.wind))
        if said.difference is not None and said.difference.too_large:
            for line in words.explanations(said.explanations, said.slips, agree=said.agree):
                show(f"  {line}")
        show(words.radii(said.before_m, said.after_m))
        show(words.stored(len(said.ties), dry_run=dry_run, coarse=said.coarse))
        warn_findings(said.findings)
    finish(said.findings)


@click.command(short_help="Print labels with a QR code for panel door and riser (PDF).")
@property_argument
@click.argument("names", nargs=-1, metavar="[COMPONENT or POINT]...")
@record_option
@at_option
@out_option("File to write; default: the property's name with -label.pdf, here.")
@lost_option
@paper_option
@day_option
@overwrite_option
@json_option
def label(
    name: str,
    names: tuple[str, ...],
    record_file: Path,
    out: Path | None,
    lost: tuple[str, ...],
    paper: str,
    today: date,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Print labels for the inside of the panel door and the riser: a page a lid, three sizes with lines to cut.

    The QR code opens the place in a phone's own map (a geo: URI with its uncertainty, RFC 5870); where the property
    has no place on the earth it holds the two tapes as text. Without a name: the lids of every tank.

    \b
    Example:
      asbuilt label "Fernbank Lane 14" "septic tank" --out label.pdf
    """
    from asbuilt.jobs.label import label_sheet, labels_of
    from asbuilt.jobs.properties import located
    from asbuilt.output.files import refuse_existing, write_whole

    path = out or Path(f"{file_stem(name)}-label.pdf")
    refuse_existing(path, overwrite=overwrite)
    known = located(record_file, name)
    labels = labels_of(known, today, names=names, lost=lost)
    write_whole(path, label_sheet(labels, paper), overwrite=overwrite)
    codes = [{"point": each.point, "qr": each.code} for each in labels]
    if as_json:
        show_json({"property": name, "written": str(path), "labels": codes, "findings": []})
    else:
        show(f"{path}: labels for {len(labels)} lid{'' if len(labels) == 1 else 's'} of {name}")
