"""The guided session at the bench: questions out, answers in, every answer on record before it is acknowledged."""
