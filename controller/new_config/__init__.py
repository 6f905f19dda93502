"""A first config from a handful of answers: questions, defaults, text. Pure but for the asking."""
