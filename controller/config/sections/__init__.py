"""The sections of the config, each a model of its own."""
