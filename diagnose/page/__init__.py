"""The bench page: recording and reading in a browser on this machine, or on tablets beside it."""
