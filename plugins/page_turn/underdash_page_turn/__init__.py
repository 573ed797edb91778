"""Bundled plug-in page_turn."""
