"""What goes where: the wiring sheet of a config, as text and as a page. Pure."""
