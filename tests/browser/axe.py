"""What axe-core has against a page: WCAG 2.0 to 2.2 up to AAA, and its best practices."""

from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

STRICT = {
    "resultTypes": ["violations"],
    "rules": {"color-contrast-enhanced": {"enabled": True}},
}
"""Contrast of 7 to 1 (WCAG 2.1, 1.4.6, AAA): the page is read in the sun. axe leaves it off by itself."""


def violations(page: Page) -> list[str]:
    """Give each rule that the page breaks with the elements that break it; empty = none."""
    found: dict[str, Any] = Axe().run(page, options=STRICT).response
    return [
        f"{rule['id']}: {node['target']} {node['html'][:120]}" for rule in found["violations"] for node in rule["nodes"]
    ]
