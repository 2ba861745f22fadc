"""What requests and answers of the API look like: one module for each module of routes.

`words` has the kinds of value they are made of, `plain` tells a fault in one line.
"""
