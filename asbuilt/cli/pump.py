"""`asbuilt pump`, `asbuilt service-sheet` and `asbuilt alarm-sheet`: the pump tank in figures, and sheets on paper."""

from datetime import date
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
)
from asbuilt.cli.printing import finish, show, show_json, warn_findings
from asbuilt.file_names import file_stem

paper_option = click.option(
    "--paper",
    type=click.Choice(["us-letter", "a4"]),
    default="us-letter",
    show_default=True,
    help="What it is printed on.",
)


@click.command(short_help="Print the pump tank: dose, gallons a day, hours left.")
@property_argument
@record_option
@at_option
@click.option(
    "--between",
    nargs=2,
    metavar="DATE DATE",
    help="Also the gallons a day between two of the dates on which a counter was read.",
)
@day_option
@json_option
def pump(name: str, record_file: Path, between: tuple[str, str] | None, today: date, as_json: bool) -> None:
    """Reckon the pump tank of one property from its readings: dose, gallons a day, changes, hours left.

    Floats, counters, tests and squirt heights stand in readings.csv. Gallons a day are held against the design flow
    and the people of the household; the last test against the first. Causes are common practice: a licensed
    professional decides.

    \b
    Example:
      asbuilt pump "Fernbank Lane 14" --on 2026-06-01
    """
    from asbuilt.cli.options import Day
    from asbuilt.jobs.properties import located
    from asbuilt.jobs.pump import pump_flow_between, standing_pump_reports
    from asbuilt.output.text.pump import pump_json, pump_text

    reports = standing_pump_reports(located(record_file, name), today)
    days = None if between is None else [Day().convert(each, None, None) for each in between]
    flows = [] if days is None else [pump_flow_between(report, *days) for report in reports]
    findings = [finding for report in reports for finding in report.findings]
    if as_json:
        show_json([pump_json(report) for report in reports])
    else:
        show("\n\n".join(pump_text(report) for report in reports))
        for flow in flows:
            show(f"\n{flow.begins} to {flow.ends}: {flow.gal_per_day:,.0f} gal a day ({flow.words})")
        warn_findings(findings)
    finish(findings)


@click.command("service-sheet", short_help="Print the pumper's sheet: lids, float risk, boxes (PDF).")
@property_argument
@click.argument("component", required=False)
@record_option
@at_option
@out_option("File to write; default: the property's name with -service.pdf, here.")
@click.option("--truck", metavar="POINT", help="Where the truck stands; default: as in [access] of property.toml.")
@paper_option
@day_option
@overwrite_option
@json_option
def service_sheet(
    name: str,
    component: str | None,
    record_file: Path,
    out: Path | None,
    truck: str | None,
    paper: str,
    today: date,
    overwrite: bool,
    as_json: bool,
) -> None:
    """Set the pumper's sheet as PDF, one page a tank.

    It says where each lid is and how deep, whether the tank can float when it is emptied, hose run and lift, the way
    in, and has boxes for what was found.

    COMPONENT is one tank; without it every tank gets a page.

    \b
    Example:
      asbuilt service-sheet "Fernbank Lane 14" "septic tank" --out service.pdf
    """
    from asbuilt.jobs import service_sheet as job
    from asbuilt.jobs.properties import located
    from asbuilt.output.files import refuse_existing, write_whole

    path = out or Path(f"{file_stem(name)}-service.pdf")
    refuse_existing(path, overwrite=overwrite)
    made = job.service_sheet(located(record_file, name), today, component=component, truck=truck, paper=paper)
    write_whole(path, made, overwrite=overwrite)
    if as_json:
        show_json({"property": name, "written": str(path), "findings": []})
    else:
        show(f"{path}: the service sheet of {name}")


@click.command("alarm-sheet", short_help="Print the sheet for beside the alarm (PDF).")
@property_argument
@record_option
@at_option
@out_option("File to write; default: the property's name with -alarm.pdf, here.")
@paper_option
@day_option
@overwrite_option
@json_option
def alarm_sheet(
    name: str, record_file: Path, out: Path | None, paper: str, today: date, overwrite: bool, as_json: bool
) -> None:
    """Set the alarm sheet as PDF: one page in large type for the people in the house.

    Panel, breaker, silence switch and whom to call come from [panel] of property.toml, the hours left from the floats
    and counters in readings.csv.

    \b
    Example:
      asbuilt alarm-sheet "Fernbank Lane 14" --out alarm.pdf
    """
    from asbuilt.jobs import service_sheet as job
    from asbuilt.jobs.properties import located
    from asbuilt.output.files import refuse_existing, write_whole

    path = out or Path(f"{file_stem(name)}-alarm.pdf")
    refuse_existing(path, overwrite=overwrite)
    found = located(record_file, name)
    write_whole(path, job.alarm_sheet(found, today, paper=paper), overwrite=overwrite)
    unknown = job.unknown_on_alarm_sheet(found, today)
    if as_json:
        show_json({"property": name, "written": str(path), "findings": [each.as_json() for each in unknown]})
    else:
        show(f"{path}: the alarm sheet of {name}")
        for finding in unknown:
            show(f"{finding.severity}: {finding.sentence()}")
    finish(unknown)
