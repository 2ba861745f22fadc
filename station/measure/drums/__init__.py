"""Drums: strokes, their modes and decays, taps, head passes and damping. numpy only, pure."""
