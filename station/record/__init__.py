"""The record of rehearsals: what is noted, its storage, and the report that is printed of it."""
