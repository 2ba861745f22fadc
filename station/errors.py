"""Every error the station raises on purpose.

Each class also inherits the builtin it specialises, so callers may catch
broadly (``StationError``, ``ValueError``) or precisely. A message says the
value that was met, the limit it broke and the likely mistake, in one line:
it is shown to users as it stands. Exit codes: 1 for "the job could not be
done", 2 for "the request itself was wrong".
"""

from __future__ import annotations


class StationError(Exception):
    """Base of all deliberate errors; ``exit_code`` is what a command ends with."""

    exit_code = 1


class UsageError(StationError, ValueError):
    """What was asked for cannot be meant: a value out of range, an unknown name."""

    exit_code = 2


# -- music ---------------------------------------------------------------


class ReferenceRangeError(UsageError):
    """A reference pitch outside 390 to 470 Hz."""


class NoteNameError(UsageError):
    """A note name that no naming system here knows."""


class FrequencyError(UsageError):
    """A frequency that is not a positive finite number of hertz."""


class TuningError(UsageError):
    """An unknown instrument or tuning, or one whose data do not hold together."""


class PairError(UsageError):
    """Two strings that do not meet, or a name under which no pair is known."""


class StringStateError(UsageError):
    """Too few plucks of a string, or a kept state that does not hold together."""


class IntonationError(UsageError):
    """A scale length no string has, or notes that say nothing of a saddle."""


class DrumError(UsageError):
    """A drum, lug, mode or tension that cannot be, or taps that do not fit the lugs."""


class NoTapError(StationError, ValueError):
    """Sound in which no drum was tapped: nothing was wrong with what was asked."""


class WireError(UsageError):
    """A string that cannot be: its gauge, length, unit weight or pull, or one not understood."""


# -- settings and room ---------------------------------------------------


class SettingsError(UsageError):
    """One or more faults in the settings file; ``faults`` holds a line for each."""

    def __init__(self, faults: list[str]) -> None:
        self.faults = faults
        super().__init__("\n".join(faults))


class UnknownPlayerError(UsageError, LookupError):
    """A player id the room does not know."""


class UnknownMeasurementError(UsageError, LookupError):
    """An instrument id under which nothing has been measured."""


class UnknownSongError(UsageError, LookupError):
    """A song id that the running order does not have."""


class SongsError(UsageError):
    """Songs that cannot be taken; ``faults`` holds a line for each, with row and column.

    The message tells the first few of them.
    """

    told_max = 4

    def __init__(self, faults: list[str]) -> None:
        self.faults = faults
        told, more = faults[: self.told_max], len(faults) - self.told_max
        super().__init__("; ".join([*told, f"and {more} more"] if more > 0 else told))


class NotNowError(UsageError):
    """What was asked for does not fit what the room is doing at present."""


class ProposalGoneError(NotNowError):
    """A proposal that is open no more; the message says what became of it."""


class NotAllowedError(NotNowError):
    """Something that somebody else has to decide, or everybody together."""


class RoomCodeError(UsageError, PermissionError):
    """A change asked for without the room code, or with a wrong one."""


class StorageError(StationError, OSError):
    """The room's state could not be read or written."""


# -- sound ---------------------------------------------------------------


class SoundFileError(StationError, OSError):
    """A sound file that cannot be read: missing, empty, truncated, not sound."""


class LineInputError(StationError, OSError):
    """The line input is missing, cannot be opened, or stopped answering."""


class LineInputRefusedError(LineInputError):
    """The line input cannot give what is asked of it; waiting does not cure this."""


class ToneError(StationError, OSError):
    """The reference tone cannot sound: no output, or one that stopped answering."""


class ToneRefusedError(UsageError):
    """A reference tone out of range, or asked for while the room is quiet."""


class ToneInQuietError(ToneRefusedError, NotNowError):
    """A reference tone asked for while the room is quiet."""


# -- measuring -----------------------------------------------------------


class SignalError(UsageError):
    """Samples the measuring code cannot take: NaN, wrong shape, impossible rate."""


# -- edges ---------------------------------------------------------------


class LampError(StationError, OSError):
    """The lamps cannot be lit: no GPIO, no permission, or a pin in use."""


class LampMapError(UsageError):
    """Lamps or buttons on pins that cannot carry them, or a lamp that no resistor fits."""


class PortTakenError(StationError, OSError):
    """Another program already listens on the page's port."""


class PageRequestError(UsageError):
    """A request to the page that is refused; ``status`` is the HTTP status it gets."""

    def __init__(self, message: str, status: int = 400, retry_after_s: int | None = None) -> None:
        self.status = status
        self.retry_after_s = retry_after_s
        super().__init__(message)


class StreamsFullError(StationError):
    """Every event stream the page may serve is already open."""
