"""Ask a vulnerability service about what is installed, and say what came of it.

Status 1 only where a hole is known. Where the service cannot be reached, or knows none of the packages, that is said
and does not stop the gate: then the lower bounds of `pyproject.toml`, which a test asks for, are all there is.
"""

import json
import subprocess
import sys
from typing import Any

WAIT_S = 180


def verdict(output: str, complaint: str) -> tuple[int, str]:
    """Judge what pip-audit wrote: the status for the gate, and one line for people."""
    try:
        packages: list[dict[str, Any]] = json.loads(output)["dependencies"]
    except (ValueError, KeyError, TypeError):
        last = (complaint.strip().splitlines() or ["no answer"])[-1]
        return 0, f"dependencies NOT CHECKED, no answer from the vulnerability service: {last[:300]}"
    asked = [each for each in packages if "skip_reason" not in each]
    holes = [
        f"{each['name']} {each['version']}: {hole['id']}, mended in {', '.join(hole.get('fix_versions') or ['-'])}"
        for each in asked
        for hole in each.get("vulns", ())
    ]
    if holes:
        return 1, "known holes in dependencies:\n" + "\n".join(holes)
    if not asked:
        return 0, f"dependencies NOT CHECKED: the service knows none of the {len(packages)} packages"
    unknown = len(packages) - len(asked)
    return 0, f"dependencies checked: {len(asked)} without a known hole" + (
        f"; {unknown} NOT CHECKED" if unknown else ""
    )


def main(folder: str) -> int:
    """Audit the packages in a folder `site-packages`."""
    command = [sys.executable, "-m", "pip_audit", "--path", folder, "--format", "json", "--progress-spinner", "off"]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=WAIT_S, check=False)  # noqa: S603 - our words
        output, complaint = done.stdout, done.stderr
    except (OSError, subprocess.TimeoutExpired) as error:
        output, complaint = "", str(error)
    status, words = verdict(output, complaint)
    print(words)
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
