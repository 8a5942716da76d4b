"""The pages of the reasoning commands, one a question."""
