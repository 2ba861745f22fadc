"""What requests and answers of the API look like: one module for each module of routes.

`words` has the kinds of value they are made of, `plain` tells a fault in one line.
"""

from __future__ import annotations

import os

# Else pydantic looks through every installed package for plugins that would see what is asked.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
