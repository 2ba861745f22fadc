"""The lamp column, the band lamp and the quiet button."""
