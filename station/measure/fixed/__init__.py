"""Instruments of fixed pitch: harmonicas, pianos, organs, accordions, pitch pipes, forks."""
