"""Data that ship with the program, and their readers; they depend on nothing else of it."""
