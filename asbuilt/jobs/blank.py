"""The blank field sheet for what will be built, on a property of the record or on one that is not there yet."""

from datetime import date

from asbuilt.jobs.locate import Located
from asbuilt.output.sheets.blank import House, blank_sheet_pdf
from asbuilt.output.sheets.blank_rows import parse_components
from asbuilt.record.profiles import DEFAULT, built_in, profile_of


def blank_sheet(located: Located | None, components: str | None, today: date, *, paper: str = "us-letter") -> bytes:
    """Set the form.

    Parameters
    ----------
    located
        The property; None = none, and the common rule profile.
    components
        Kinds with their numbers, such as "septic tank, 4 laterals"; None = those of the property that stand.

    Raises
    ------
    ComponentsError
        If the components cannot be read.
    ProfileError
        If the rule profile of the property cannot be read.
    """
    if located is None:
        return blank_sheet_pdf(
            None, parse_components(components) if components else (), built_in(DEFAULT), today, paper
        )
    record = located.record
    standing = tuple(each for each in record.components if each.stands_on(today))
    chosen = standing if components is None else parse_components(components)
    return blank_sheet_pdf(House(record, located.solution), chosen, profile_of(record), today, paper)
