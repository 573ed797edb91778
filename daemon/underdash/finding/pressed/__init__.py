"""Which small fields answer when a person presses something and marks it."""
