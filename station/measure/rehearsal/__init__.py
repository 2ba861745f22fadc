"""What a band is doing, and whose strings have drifted while it played. numpy only, pure."""
