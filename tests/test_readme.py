"""The README: what `station check` can find fault with is in its troubleshooting table."""

from __future__ import annotations

import ast
import importlib
import re
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

PROJECT = Path(__file__).resolve().parents[1]
COMMANDS = PROJECT / "station" / "commands"
HEAD = "| item | says | do |\n|---|---|---|\n"
SAYING = {"fault", "remark", "say"}


def plain(text: str) -> str:
    return " ".join(text.replace("`", "").split())


def rows() -> list[tuple[str, str, str]]:
    """Item, symptom and remedy of every row of the table."""
    readme = (PROJECT / "README.md").read_text(encoding="utf-8")
    table = readme.partition(HEAD)[2].partition("\n\n")[0]
    return [
        tuple(plain(cell) for cell in row.strip("| ").split(" | ")) for row in table.split("\n")
    ]


def texts(node: ast.expr, module: ModuleType) -> list[list[str]]:
    """What an expression may come to, each as the fixed pieces that are in it."""
    match node:
        case ast.Constant(value=str(text)):
            return [[text]]
        case ast.Name(id=name) if isinstance(getattr(module, name, None), str):
            return [[getattr(module, name)]]
        case ast.IfExp():
            return texts(node.body, module) + texts(node.orelse, module)
        case ast.JoinedStr(values=values):
            return [[str(each.value) for each in values if isinstance(each, ast.Constant)]]
    raise AssertionError(f"{module.__name__}:{node.lineno}: the remedy cannot be told from here")


def remedies(path: Path) -> Iterator[tuple[str | None, list[str]]]:
    """Item, None where only running tells it, and remedy of everything a module can find."""
    module = importlib.import_module(f"station.commands.{path.stem}")
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        told: list[Any] | None = None
        match node:
            case ast.Call(func=ast.Name(id=name), args=[item, _, remedy]) if name in SAYING:
                told = [item, remedy]
            case ast.Yield(value=ast.Tuple(elts=[_, ast.Constant() | ast.JoinedStr() as remedy])):
                told = [ast.Constant("line"), remedy]  # what is wrong with a line
            case ast.Yield(value=ast.Tuple(elts=[_, ast.Name() as remedy])):
                told = [ast.Constant("line"), remedy]
            case ast.Call(func=ast.Name(id="LineItem"), args=[_, _, _, ast.Constant() as remedy]):
                told = [ast.Constant("line"), remedy]
        if told is not None:
            known = isinstance(told[0], ast.Constant) or hasattr(module, told[0].id)
            item = texts(told[0], module)[0][0] if known else None
            yield from ((item, pieces) for pieces in texts(told[1], module))


@pytest.mark.parametrize("path", sorted(COMMANDS.glob("check*.py")), ids=lambda path: path.stem)
def test_every_remedy_that_the_check_can_print_is_in_the_table_beside_its_item(path):
    if path.stem == "check_item":
        return

    for item, pieces in remedies(path):
        found = [
            row for row in rows() if all(plain(piece).strip(" ;") in row[2] for piece in pieces)
        ]
        assert found, (item, pieces)
        assert item is None or [row for row in found if item in row[0].split(", ")], (item, pieces)


def test_the_table_names_no_item_and_no_remedy_that_the_check_does_not_have():
    paths = [path for path in COMMANDS.glob("check*.py") if path.stem != "check_item"]
    known = [told for path in paths for told in remedies(path)]
    items = {item for item, _ in known} | {"input", "lamps", "storage", "page port"}

    for named, _, remedy in rows():
        assert set(named.split(", ")) <= items
        assert [
            pieces
            for _, pieces in known
            if all(plain(piece).strip(" ;") in remedy for piece in pieces)
        ], remedy


def test_every_row_of_every_table_is_whole():
    readme = (PROJECT / "README.md").read_text(encoding="utf-8")
    for table in re.findall(r"(?:^\|.*\|\n)+", readme, re.MULTILINE):
        widths = {len(re.findall(r"(?<!\\)\|", row)) for row in table.splitlines()}
        assert len(widths) == 1, table.splitlines()[0]
