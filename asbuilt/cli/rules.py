"""`asbuilt rules`: the rule profiles, and what one of them holds."""

import click

from asbuilt.cli.options import json_option
from asbuilt.cli.printing import show, show_json


@click.command(short_help="List the rule profiles, or show what one holds.")
@click.argument("name", metavar="[NAME|FILE]", required=False)
@json_option
def rules(name: str | None, as_json: bool) -> None:
    """List the rule profiles that come with the program, or show the limits of one, each with its source.

    FILE is a profile of your own, ending in .toml; what is wrong with it is told with table and key. Whatever a profile
    says, local code decides.

    \b
    Example:
      asbuilt rules washington
    """
    from asbuilt.jobs.rule_profiles import built_in_profiles, named_profile
    from asbuilt.output.text.rules import profile_json, profile_text, profiles_json, profiles_text

    if name is None:
        profiles = built_in_profiles()
        if as_json:
            show_json(profiles_json(profiles))
        else:
            show(profiles_text(profiles))
        return
    profile = named_profile(name)
    if as_json:
        show_json(profile_json(profile))
    else:
        show(profile_text(profile))
