"""Two strings sounding together: what their coinciding partials do, and what each string is."""
