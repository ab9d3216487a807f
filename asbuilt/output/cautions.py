"""What can hurt, said wherever it can."""

CAUTIONS = (
    "Never enter a tank or lean into it: its gas kills within minutes and has no warning smell. Never work alone.",
    "Keep every lid on and secured; a loose lid is a trap for a child.",
    "Before digging, have the public lines marked (811 in the United States). Private lines are not marked by that "
    "service, and what is not recorded here may still be there.",
    "Dig by hand near cables and pipes. Switch off and lock the pump's power before touching panel or floats.",
    "An emptied tank can float or collapse. Local code and a licensed practitioner decide.",
)
"""Usual cautions of the trade (common practice; gas: 29 CFR 1910.146 on confined spaces; marking of public lines only:
811 one-call centres)."""
