"""Pictures, tables and the one-file page."""
