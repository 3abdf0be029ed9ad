"""Measurements of speed, to be compared within one session."""
