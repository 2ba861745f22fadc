"""Edges that give samples: the line input, sound files, the simulated band.

Nothing is imported here on purpose: the capture child imports this package
and must stay small.
"""
