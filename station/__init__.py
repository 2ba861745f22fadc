"""The rehearsal-room tuner station."""

__version__ = "0.1.0"
