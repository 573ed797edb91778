"""Bundled plug-in temperatures."""
