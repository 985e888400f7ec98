"""March tests: their notation, the named tests of the literature, and what each one detects at cell level.

``notation`` reads and prints tests, ``named`` knows the published ones, ``classes`` enumerates fault
classes, ``coverage`` says which instances a test detects. Nothing here knows a machine or a board.
"""
