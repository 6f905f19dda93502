"""Charts of the air as pictures. matplotlib is heavy: imported only when one is drawn."""
