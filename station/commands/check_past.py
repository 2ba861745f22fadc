"""What `station check` says of the past: what befell the station, and settings that served."""

from __future__ import annotations

from pathlib import Path

from station.commands.check_item import Item, ok, remark
from station.errors import StorageError
from station.incidents import CUT_OFF, ENDED, NAME, STARTED, Incident, read_incidents
from station.last_good import LastGood
from station.settings import Settings

ITEM = "incidents"
LOOKED_AT = 200
TOLD = 3
_NO_TROUBLE = (STARTED, ENDED, "input listening", "no longer")


def look_at_incidents(settings: Settings) -> Item:
    """The last few incidents since the station was last started."""
    try:
        folder = settings.data_dir()
    except StorageError:
        return ok(ITEM, "none kept: there is no folder for them")
    return incidents_item(read_incidents(folder, LOOKED_AT), folder)


def incidents_item(newest_first: list[Incident], folder: Path) -> Item:
    """What went wrong in the last run, and how the one before it ended."""
    if not newest_first:
        return ok(ITEM, "none so far")
    troubles = [each for each in _last_run(newest_first) if not each.what.startswith(_NO_TROUBLE)]
    if not troubles:
        last = newest_first[0]
        return ok(ITEM, f"none since the last start; {last.at}: {last.what}")
    told = "; ".join(f"{each.at}: {each.what}" for each in troubles[:TOLD])
    more = f"; {len(troubles) - TOLD} more" if len(troubles) > TOLD else ""
    return remark(ITEM, told + more, f"see {folder / NAME} for all of them")


def serving_item(found: LastGood) -> Item:
    """With settings at fault: which would serve."""
    return remark(
        "settings",
        f"the station starts with the settings of {found.since}, the last that held;"
        " what follows is looked at with those",
        "correct the settings file, then start the station anew",
    )


def _last_run(newest_first: list[Incident]) -> list[Incident]:
    run: list[Incident] = []
    for number, each in enumerate(newest_first):
        run.append(each)
        if each.what.startswith(STARTED):
            before = newest_first[number + 1 : number + 2]
            return run + [cut for cut in before if cut.what == CUT_OFF]
    return run
