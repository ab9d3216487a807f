"""A report as one page of HTML: no script, nothing fetched, readable on a phone and on paper."""

import base64
import re
from collections.abc import Iterator
from importlib.resources import files

from asbuilt.output.report.blocks import Picture, Report, Section, Table
from asbuilt.output.report.charts import chart_svg
from asbuilt.output.words import html_text

_DATE = re.compile(r"\b\d{4}-\d\d-\d\d\b", re.ASCII)
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
_STYLE = (files("asbuilt") / "output" / "assets" / "report.css").read_text(encoding="utf-8")


def report_html(report: Report) -> str:
    """Set a report as HTML; every word of the record stands there as text."""
    return "\n".join(_lines(report)) + "\n"


def _lines(report: Report) -> Iterator[str]:
    yield '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">'
    yield f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<title>{html_text(report.title)}: {html_text(report.name)}</title>"
    yield f"<style>{_STYLE}</style>\n</head>\n<body>\n<main>"
    yield f"<header>\n<p>{html_text(report.title)}</p>\n<h1>{html_text(report.name)}</h1>"
    yield from (f"<p>{html_text(line)}</p>" for line in report.lines)
    yield "</header>"
    yield '<nav aria-label="Contents"><ol>'
    for number, section in enumerate(report.sections, 1):
        yield f'<li><a href="#part-{number}">{html_text(section.heading)}</a></li>'
    yield "</ol></nav>"
    for number, section in enumerate(report.sections, 1):
        yield from _section(number, section)
    yield '<section aria-labelledby="cautions"><h2 id="cautions">What can hurt</h2><ul>'
    yield from (f"<li>{html_text(caution)}</li>" for caution in report.cautions)
    yield "</ul></section>\n</main>\n</body>\n</html>"


def _section(number: int, section: Section) -> Iterator[str]:
    yield f'<section aria-labelledby="part-{number}"><h2 id="part-{number}">{number}. {html_text(section.heading)}</h2>'
    yield from (f"<p>{html_text(words)}</p>" for words in section.paragraphs)
    if section.items:
        yield f"<ul>{''.join(f'<li>{html_text(item)}</li>' for item in section.items)}</ul>"
    for table in section.tables:
        yield from _table(table)
    for chart in section.charts:
        yield f"<figure>{chart_svg(chart)}</figure>"
    if section.pictures:
        yield f'<div class="pictures">{"".join(map(_picture, section.pictures))}</div>'
    yield "</section>"


def _table(table: Table) -> Iterator[str]:
    about = html_text(table.caption or table.head[0])
    yield f'<div class="wide" tabindex="0" role="region" aria-label="{about}"><table>'
    if table.caption:
        yield f"<caption>{html_text(table.caption)}</caption>"
    head = "".join(f'<th scope="col">{html_text(word)}</th>' for word in table.head)
    rows = "".join(f"<tr>{''.join(map(_cell, table.head, row))}</tr>" for row in table.rows)
    yield f"<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>"


def _picture(picture: Picture) -> str:
    data = base64.b64encode(picture.content).decode("ascii")
    caption = html_text(picture.caption)
    return (
        f'<figure><img src="data:image/jpeg;base64,{data}" alt="{caption}"><figcaption>{caption}</figcaption></figure>'
    )


def _cell(head: str, words: str) -> str:
    """Set a cell with the word above it, which a phone shows beside it; a date stays on one line."""
    dated = _DATE.sub(r"<time>\g<0></time>", html_text(words))
    return f'<td data-head="{html_text(head)}">{dated}</td>'
