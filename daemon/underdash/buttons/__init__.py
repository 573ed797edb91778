"""Buttons: presses become gestures (`gestures.py`), gestures become actions (`handlers.py`)."""
