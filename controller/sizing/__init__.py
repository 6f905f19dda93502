"""Planning a tent: the flow it needs, what its fan delivers, and the air that follows. Pure."""
