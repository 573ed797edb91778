"""What a tester that somebody else ran asked for, and what came of it."""
