"""`station settings`: what holds, as the settings file would say it."""

from __future__ import annotations

import json
from pathlib import Path

from station.commands.serve import read_settings
from station.settings import effective, effective_toml


def run_settings(config: Path | None, as_json: bool) -> None:
    """Print the effective settings, secrets masked; raises SettingsError."""
    settings = read_settings(config)
    text = json.dumps(effective(settings)) if as_json else effective_toml(settings)
    print(text)  # noqa: T201
