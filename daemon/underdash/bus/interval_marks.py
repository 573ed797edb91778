"""How the two marks of an interval are spelt in a trace: ``dimmer up begin`` and ``dimmer up end``."""

BEGIN, END = " begin", " end"
