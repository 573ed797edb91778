"""Bundled plug-in tarn."""
