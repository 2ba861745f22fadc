"""What one station knows: the reference, the players, their strings and the roll call."""
