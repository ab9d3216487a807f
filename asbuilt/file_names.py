"""What a file may be called: names that any system takes, that hide nothing and lead nowhere else."""

import re

LONGEST_BYTES = 120
"""Bytes of a name made of words; a system takes 255 for the whole, and endings and numbers come behind."""

# Names that Windows keeps for devices, whatever ending follows (from memory: "Naming Files, Paths, and Namespaces").
_DEVICE = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³])", re.IGNORECASE)


def is_reserved(name: str) -> bool:
    """Tell whether a system keeps the name of a file for a device.

    Examples
    --------
    >>> is_reserved("nul.pdf"), is_reserved("COM1"), is_reserved("null.pdf")
    (True, True, False)
    """
    return _DEVICE.fullmatch(name.partition(".")[0].rstrip()) is not None


def file_stem(name: str) -> str:
    """Make the beginning of a file's name of any words: letters, digits and hyphens of any script.

    Examples
    --------
    >>> file_stem("Fernbank Lane 14"), file_stem("../../etc/passwd"), file_stem("CON"), file_stem("...")
    ('fernbank-lane-14', 'etc-passwd', 'con-property', 'property')
    """
    words = re.sub(r"[^\w]+", "-", name).strip("-").lower()[:80]
    stem = words.encode()[:LONGEST_BYTES].decode(errors="ignore").strip("-") or "property"
    return f"{stem}-property" if is_reserved(stem) else stem
