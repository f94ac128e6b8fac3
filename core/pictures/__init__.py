"""Another picture of the same place: read, aligned with the map, laid on its grid and compared.

`reading` reads the file, `alignment` and `correlating` find where it lies, `laying` brings it onto
the map's pixels, `comparing` says which channel its contrast follows. Import from these modules.

A picture's row 0 is at the bottom, as a map's. Its coordinates are (column, row), (0, 0) being the
centre of the pixel at the bottom left; an alignment leads from there to x and y of the map in nm.
"""
