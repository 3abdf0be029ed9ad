"""Turbid canopies: leaves so small and many that only their density and their angles are known."""
