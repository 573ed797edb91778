"""Bundled plug-in loris."""
