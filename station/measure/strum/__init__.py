"""All open strings of one strum, measured at once."""
