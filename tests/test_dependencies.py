"""The review of dependencies in DEVELOPERS.md has a word for each that is pinned."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

PROJECT = Path(__file__).resolve().parents[1]
REVIEW = "## Why each dependency is there"
FOR_TESTS = "**For tests and figures**"


def reviewed(text: str) -> list[str]:
    """The names in the first column of its tables, licences left out."""
    firsts = [
        row.split(" | ")[0]
        for row in text.splitlines()
        if row.startswith("| ") and row[2:9] != "package"
    ]
    names = re.sub(r"\([^)]*\)", "", ",".join(firsts)).replace("|", "")
    found = (re.match(r"\s*([\w.-]+)", each) for each in names.split(","))
    return [canonicalize_name(each[1]) for each in found if each]


def review() -> tuple[list[str], list[str]]:
    text = (PROJECT / "DEVELOPERS.md").read_text(encoding="utf-8").partition(REVIEW)[2]
    at_run_time, _, for_tests = text.partition(FOR_TESTS)
    assert for_tests
    return reviewed(at_run_time), reviewed(for_tests)


def test_every_pinned_package_is_reviewed_once() -> None:
    text = (PROJECT / "hw" / "constraints.txt").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    pinned = {canonicalize_name(Requirement(line).name) for line in lines}
    at_run_time, for_tests = review()
    names = [*at_run_time, *for_tests]

    assert sorted(pinned - set(names)) == []
    assert sorted(name for name in names if names.count(name) > 1) == []


def test_what_the_station_itself_asks_for_is_reviewed_as_what_it_runs_on() -> None:
    project = tomllib.loads((PROJECT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = {canonicalize_name(Requirement(each).name) for each in project["dependencies"]}
    at_run_time, for_tests = review()

    assert asked <= set(at_run_time)
    assert not asked & set(for_tests)
