"""The arithmetic of a line into the station: levels, pads, capacitors, transformers, pickups. Pure.

For the wiring guide, its drawings and their tests; the station itself needs none of it.
Levels are rms; resistances in ohms, capacitances in farads, inductances in henries.
"""

from __future__ import annotations

import math

DBU_0_V = math.sqrt(0.6)
"""0 dBu: the voltage of 1 mW in 600 ohms, sqrt(0.001 W x 600 ohm) = 0.7746 V (IEC 60268-17 and
the practice of broadcasting; from memory)."""
CONSUMER_DBV = -10.0
STUDIO_DBU = 4.0
STUDIO_PEAK_DBU = 24.0  # the most a balanced studio output gives (common practice, no source)
BRIDGING_OHM = 10_000.0
"""What a line input should load a source with at the least: ten times and more its own
resistance, which is 600 ohms at the most (common practice, no source)."""
SOURCE_OHM = 600.0
LINE_INPUT_OHM = 10_000.0
LOWEST_HZ = 27.5  # A0: below it no string and no drum of a band speaks
PHANTOM_V = 48.0  # IEC 61938, from memory


def dbv_to_v(dbv: float) -> float:
    """Volts of a level in dBV: 0 dBV is 1 V."""
    return float(10.0 ** (dbv / 20.0))


def dbu_to_v(dbu: float) -> float:
    """Volts of a level in dBu."""
    return float(DBU_0_V * 10.0 ** (dbu / 20.0))


def v_to_dbv(volts: float) -> float:
    """A level in dBV."""
    return 20.0 * math.log10(volts)


def v_to_dbu(volts: float) -> float:
    """A level in dBu."""
    return 20.0 * math.log10(volts / DBU_0_V)


def parallel_ohm(*resistances: float) -> float:
    """Resistances side by side: 1/R = 1/R1 + 1/R2 + ..."""
    return 1.0 / sum(1.0 / each for each in resistances)


def pad_db(
    series_ohm: float,
    shunt_ohm: float,
    load_ohm: float = LINE_INPUT_OHM,
    source_ohm: float = 0.0,
) -> float:
    """What a pad takes away, in dB, negative: a divider of its series and shunt resistors.

    The load lies beside the shunt, the source's own resistance in line with the series
    resistor. A balanced pad has half of ``series_ohm`` in each leg.
    """
    lower = parallel_ohm(shunt_ohm, load_ohm)
    return 20.0 * math.log10(lower / (source_ohm + series_ohm + lower))


def pad_input_ohm(series_ohm: float, shunt_ohm: float, load_ohm: float = LINE_INPUT_OHM) -> float:
    """What the source sees of a pad with its load."""
    return series_ohm + parallel_ohm(shunt_ohm, load_ohm)


def corner_hz(resistance_ohm: float, capacitance_f: float) -> float:
    """Where a capacitor in line takes 3 dB away: f = 1 / (2 pi R C)."""
    return 1.0 / (math.tau * resistance_ohm * capacitance_f)


def high_pass_db(hz: float, corner: float) -> float:
    """What that capacitor takes away at a frequency: |H|^2 = 1 / (1 + (corner / f)^2)."""
    return -10.0 * math.log10(1.0 + (corner / hz) ** 2)


def turns_ratio(primary_ohm: float, secondary_ohm: float) -> float:
    """Primary to secondary turns of a transformer named by its impedances: sqrt(Zp / Zs)."""
    return math.sqrt(primary_ohm / secondary_ohm)


def reflected_ohm(load_ohm: float, ratio: float) -> float:
    """What the source sees of a load behind a transformer: the load times the ratio squared."""
    return load_ohm * ratio * ratio


def pickup_loss_db(pickup_ohm: float, load_ohm: float) -> float:
    """What a load takes of a magnetic pickup's low notes, in dB, negative: a divider."""
    return 20.0 * math.log10(load_ohm / (load_ohm + pickup_ohm))


def pickup_corner_hz(pickup_ohm: float, inductance_h: float, load_ohm: float) -> float:
    """Above it a load dulls a magnetic pickup: f = (R + Rload) / (2 pi L)."""
    return (pickup_ohm + load_ohm) / (math.tau * inductance_h)


def speaker_v(watts: float, ohms: float) -> float:
    """The rms voltage at a loudspeaker: V = sqrt(P R)."""
    return math.sqrt(watts * ohms)


def daily_s(level_dba: float) -> float:
    """How long a day's dose of sound lasts, in seconds: 85 dB(A) for 8 h, half for each 3 dB more.

    NIOSH publication 98-126 (1998), recommended exposure limit; from memory.
    """
    return float(8 * 3600 * 2.0 ** ((85.0 - level_dba) / 3.0))


# -- what the wiring guide builds ------------------------------------------------

PADS = {"12 dB": (10_000.0, 4_700.0), "20 dB": (10_000.0, 1_200.0)}
"""Series and shunt resistor of each pad."""
BLOCKING_F = 10e-6
BLEED_OHM = 1_000_000.0
PICKUP_OHM, PICKUP_H = 8_000.0, 3.0  # a passive magnetic pickup (common practice, no source)
PIEZO_F = 1e-9  # a small piezo pickup (common practice, no source)
INSTRUMENT_OHM = 1_000_000.0
