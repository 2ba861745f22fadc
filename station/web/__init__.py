"""The page every phone shows, its JSON API and its stream of events."""
