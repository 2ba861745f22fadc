"""Crooked settings and sound files that grow by what they reach: coverage-guided, by atheris.

    python3.11 -m venv --system-site-packages /tmp/guided && /tmp/guided/bin/pip install atheris
    export PYTHONPATH=$PWD:$PWD/.venv/lib/python3.11/site-packages
    nice /tmp/guided/bin/python -m tests.bench.bench_guided settings|sound [MINUTES]

atheris is no dependency of the tests: it wants a Python of its own version. Examples that
reach a new branch of the station's own Python (tomllib's, too) are kept and changed
further; what must hold of each is `tests.support.fuzz`'s. libsndfile, in C, is not
instrumented: of it only crashes and hangs are seen. Prints how many examples were run and,
by running the kept ones once more, which lines of the readers none of them reached. Ends
with 1 if something broke; the example is then in the folder that is named.
"""

from __future__ import annotations

import importlib
import inspect
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

MINUTES = 10.0
READERS = {
    "settings": (
        "station.settings", "station.settings_checks", "station.settings_pins",
        "station.settings_entries", "station.toml_file", "station.toml_lines",
    ),
    "sound": ("station.sound.files", "station.sound.containers", "station.sound.blocks"),
}  # fmt: skip
NOT_READERS = {"effective", "effective_toml", "_toml_value", "make_room_code", "default_settings"}
LONGEST = 8192
HANGS_S = 20


def check_of(what: str, folder: Path) -> Callable[[bytes], Any]:
    """What must hold of an example; raises where it does not."""
    from tests.support import fuzz

    if what == "settings":
        return lambda raw: fuzz.check_settings(raw, folder)
    return lambda raw: fuzz.check_sound(raw, folder / "take.wav")


def begin_with(what: str, corpus: Path) -> None:
    """Whole files to begin from."""
    from tests.bench.bench_fuzz import sound_files
    from tests.support.fuzz import EXAMPLE

    if what == "settings":
        from station.settings import KEYS

        recipes = Path(__file__).parents[2] / "hw" / "recipes"
        wholes = [path.read_bytes() for path in (EXAMPLE, *recipes.glob("*.toml"))]
        values = ('"x"', '""', "1", "-1.5", "[]", "{}", "true", '["E2"]', "[5, 6, 5]", "2031-05-06")
        wholes += [
            f"{'[[players]]' if table == 'players' else f'[{table}]'}\n{key} = {value}\n".encode()
            for table, keys in KEYS.items()
            for key in keys
            for value in values
        ]
    else:
        with tempfile.TemporaryDirectory() as name:
            wholes = sound_files(Path(name))
    for number, whole in enumerate(wholes):
        (corpus / f"whole-{number}").write_bytes(whole[:LONGEST])


def words(what: str) -> list[str]:
    """What the files of this kind are made of, for the changing to take."""
    if what == "sound":
        return ["RIFF", "RF64", "WAVE", "fmt ", "data", "ds64", "FORM", "COMM", "SSND", "fLaC"]
    from station.settings import KEYS

    keys = {key for table in KEYS.values() for key in table}
    more = ["[[", "]]", " = ", "none", "guitar", "standard", "hw:CARD=Lines,DEV=0", "keyboard"]
    return sorted({*KEYS, *keys, *more})


def guide(what: str, folder: Path, options: list[str]) -> None:
    """The guided process; libFuzzer ends it."""
    import atheris

    with atheris.instrument_imports(include=["station", "tomllib"]):
        for name in ("tomllib._parser", *READERS[what]):
            importlib.import_module(name)
    check = check_of(what, folder)

    def one(raw: bytes) -> None:
        check(raw)

    atheris.Setup([sys.argv[0], *options], one)
    atheris.Fuzz()


def lines_of(code: CodeType) -> set[int]:
    """The lines of every function in this code; what runs once at import is no reader's."""
    if code.co_name in NOT_READERS:
        return set()
    is_function = bool(code.co_flags & inspect.CO_OPTIMIZED)
    own = {line for _, _, line in code.co_lines() if line and line != code.co_firstlineno}
    inner = (lines_of(each) for each in code.co_consts if isinstance(each, CodeType))
    return (own if is_function else set()).union(*inner)


def reached(what: str, corpus: Path, folder: Path) -> dict[str, set[int]]:
    """The lines that running every kept example runs, by file."""
    files = {str(importlib.import_module(name).__file__): set() for name in READERS[what]}
    check = check_of(what, folder)

    def watch(frame: FrameType, event: str, _: object) -> Any:
        lines = files.get(frame.f_code.co_filename)
        if lines is None:
            return None
        lines.add(frame.f_lineno)
        return watch

    for path in sorted(corpus.iterdir()):
        sys.settrace(watch)
        try:
            check(path.read_bytes())
        finally:
            sys.settrace(None)
    return files


def say_reached(files: dict[str, set[int]]) -> None:
    """How many lines of functions were run, and which were not."""
    for name, ran in files.items():
        source = Path(name).read_text(encoding="utf-8")
        can = lines_of(compile(source, name, "exec"))
        missed = ", ".join(map(str, sorted(can - ran))) or "none"
        print(
            f"{Path(name).name:<22}{len(can & ran):4} of {len(can):4} lines; not reached: {missed}"
        )


def main() -> int:
    what = sys.argv[1] if len(sys.argv) > 1 else ""
    if what not in READERS:
        print(__doc__)
        return 2
    if folder := os.environ.get("GUIDED_FOLDER"):
        guide(what, Path(folder), sys.argv[2:])
    minutes = float(sys.argv[2]) if len(sys.argv) > 2 else MINUTES
    kept = Path(tempfile.mkdtemp(prefix=f"guided-{what}-"))
    corpus, made = kept / "corpus", kept / "made"
    corpus.mkdir()
    made.mkdir()
    begin_with(what, corpus)
    lines = (f'"{word}"\n' for word in words(what))
    (kept / "words").write_text("".join(lines), encoding="utf-8")
    began_s = time.monotonic()
    done = subprocess.run(
        [
            *(sys.executable, "-m", "tests.bench.bench_guided", what),
            *(f"-max_total_time={60 * minutes:.0f}", f"-max_len={LONGEST}", f"-timeout={HANGS_S}"),
            *(
                f"-dict={kept}/words",
                "-print_final_stats=1",
                f"-artifact_prefix={kept}/broke-",
                str(corpus),
            ),
        ],
        env={**os.environ, "GUIDED_FOLDER": str(made)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    stats = dict(re.findall(r"stat::(\w+):\s+(\d+)", done.stderr))
    passed_s = time.monotonic() - began_s
    print(
        f"{what}: {stats.get('number_of_executed_units', 'no')} examples in {passed_s:.0f} s,"
        f" {len(list(corpus.iterdir()))} kept, slowest {stats.get('slowest_unit_time_sec', '?')} s"
    )
    if done.returncode:
        print(done.stderr[-4000:], f"\nkept in {kept}")
        return 1
    say_reached(reached(what, corpus, made))
    return 0


if __name__ == "__main__":
    sys.exit(main())
