"""What a line input may be asked for, said once for the settings and the input itself."""

from __future__ import annotations

RATES_HZ = (44_100, 48_000, 96_000)
MAX_CHANNELS = 32
MIN_FRAMES_PER_BLOCK, MAX_FRAMES_PER_BLOCK = 128, 8192
"""2.7 to 171 ms at 48 kHz: shorter blocks cost a small board too many wake-ups, longer ones are
late. Our choice."""
