"""One module per verb; each function owns its transaction."""
