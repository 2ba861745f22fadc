"""The lamp column, the band lamp and the two buttons."""
