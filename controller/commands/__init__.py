"""One file a command: `add` describes its arguments, `run` does it."""
