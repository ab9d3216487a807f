"""What was recorded, by noun: frozen values whose fields are the columns of the field sheets."""
