"""Every published value says where it comes from and how it is known, and is used by a test."""

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
FILES = sorted(HERE.glob("*.toml"))
STANDING = ("standing", "status", "seen")


def keys_and_values(case: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Walk through all tables of a file."""
    for key, value in case.items():
        yield key, value
        for inner in value if isinstance(value, list) else [value]:
            if isinstance(inner, dict):
                yield from keys_and_values(inner)


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_file_of_published_values_names_its_source_and_its_standing(file: Path) -> None:
    told = list(keys_and_values(tomllib.loads(file.read_text(encoding="utf-8"))))
    sources = [value for key, value in told if key == "source"]
    assert sources
    assert all(len(source) > 30 for source in sources)
    assert any(key.endswith(STANDING) for key, _ in told)


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_file_of_published_values_is_read_by_a_test(file: Path) -> None:
    tests = [test for test in HERE.glob("test_*.py") if test.name != Path(__file__).name]
    assert any(f'"{file.name}"' in test.read_text(encoding="utf-8") for test in tests)
