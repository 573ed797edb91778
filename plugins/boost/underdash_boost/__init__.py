"""Bundled plug-in boost."""
