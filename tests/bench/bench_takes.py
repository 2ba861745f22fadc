"""Whether takes of one recorded note differ by what their uncertainty says.

    .venv/bin/python -m tests.bench.bench_takes [SNR_DB] [FONT]

Open strings of a sound font, 1.2 s of each: cut at six starts (`cut`), and from the pluck each
time (`same`), both in fresh hiss SNR_DB (25) below the first half second. Prints the rms of
error over uncertainty, 1 being just right, and the rms of either in cents. Errors are from the
mean of the takes, so what all takes have in common does not show: bowed strings, and whatever
else wanders, are unsure by more than `same` can tell.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.support.soundfont import DEFAULT_FONT
from tests.support.takes import CUTS_S, SNR_DB, TAKES, errors, recorded, rms

GUITAR, BASS = (40, 45, 50, 55, 59, 64), (28, 33, 38, 43)
# General MIDI programs, counted from 0, and open strings.
INSTRUMENTS = {
    "nylon guitar": (24, GUITAR), "steel guitar": (25, GUITAR), "clean guitar": (27, GUITAR),
    "double bass": (32, BASS), "fingered bass": (33, BASS), "picked bass": (34, BASS),
    "fretless bass": (35, BASS), "slapped bass": (36, BASS), "banjo": (105, (50, 55, 59, 62)),
    "violin": (40, (55, 62, 69, 76)), "viola": (41, (48, 55, 62, 69)),
    "cello": (42, (36, 43, 50, 57)), "bowed bass": (43, BASS),
}  # fmt: skip


def main() -> None:
    """Print the table."""
    snr_db = float(sys.argv[1]) if len(sys.argv) > 1 else SNR_DB
    font = Path(sys.argv[2]) if len(sys.argv) > 2 else DEFAULT_FONT
    print("                   cut  error  unsure    same  error  unsure")
    for name, (program, strings) in INSTRUMENTS.items():
        row = f"{name:14}"
        with tempfile.TemporaryDirectory() as folder:
            heard = recorded(program, strings, Path(folder), font)
        for starts_s in (CUTS_S, (0.0,) * TAKES):
            off, unsure = errors(heard, starts_s, snr_db)
            row += f"{rms(off / unsure):8.2f}{rms(off):7.3f}{rms(unsure):8.3f}"
        print(row, flush=True)


if __name__ == "__main__":
    main()
