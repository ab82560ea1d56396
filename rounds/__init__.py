"""Coral Rounds: the daily round of a room of reef-coral systems, at the keyboard."""

__version__ = "0.1.0"
